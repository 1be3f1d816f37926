"""Versions of one thing: which are the newest, and which was the first. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence


def heads(versions: Iterable[tuple[str, Sequence[str]]]) -> tuple[str, ...]:
    """The uids that no other version follows, in their order; more than one is a fork.

    Parameters
    ----------
    versions : iterable of (str, sequence of str)
        The uid of each version, and what it follows.
    """
    known = dict(versions)
    followed = {uid for follows in known.values() for uid in follows}
    return tuple(sorted(uid for uid in known if uid not in followed))


def root(uid: str, follows: Mapping[str, Sequence[str]]) -> str:
    """The first version of the thing that a fact is a version of.

    Parameters
    ----------
    uid : str
    follows : mapping of str to sequence of str
        What each version follows, by its uid.
    """
    while follows[uid]:
        uid = follows[uid][0]
    return uid
