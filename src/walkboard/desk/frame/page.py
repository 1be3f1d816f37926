"""What a page consists of: its doors, who may use each, and what its outbox may set."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TypeAlias

from starlette.requests import Request
from starlette.responses import Response

from walkboard.desk.frame.desk import Desk
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.setting import Setting

Endpoint: TypeAlias = Callable[[Request], Response] | Callable[[Request], Awaitable[Response]]
"""A plain function runs in a thread and may wait for the book; a coroutine must not."""
Keep: TypeAlias = Callable[[Desk, Setting, str], None]
"""Stores one setting of a device in the book; a `WalkboardError` refuses it permanently."""

Count: TypeAlias = Callable[[Desk, int], int]

LARGEST_BODY_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class Door:
    """One address of a page.

    Attributes
    ----------
    path : str
        As Starlette writes it, ``/organ/{organ:int}/rank/{rank}``.
    endpoint : callable
    permission : Permission
        What a visitor needs, on the organ that the path names where it names one.
    methods : tuple of str
    largest_bytes : int
        Largest body of a request; a larger one is refused while it comes in.
    """

    path: str
    endpoint: Endpoint
    permission: Permission
    methods: tuple[str, ...] = ("GET",)
    largest_bytes: int = LARGEST_BODY_BYTES


@dataclass(frozen=True, slots=True)
class Keeper:
    """How one kind of setting is stored, and what permission sending it needs.

    Attributes
    ----------
    keep : Keep
    permission : Permission
        On the organ that the setting names by its visit or fault.
    """

    keep: Keep
    permission: Permission


@dataclass(frozen=True, slots=True)
class Page:
    """A page: everything the desk needs to know about one module.

    Attributes
    ----------
    name : str
        Name of its words, ``words/en/NAME.toml``.
    doors : tuple of Door
    place : str or None
        Its address in the navigation, with ``{organ}`` for the organ's number, for whoever may use
        the door there; None keeps it out. Its label is ``NAME.place``.
    rank : int
        Its position in the navigation, from the left.
    is_for_people : bool
        Whether only people who signed in see its place: a desk where nobody does stays as it is.
    settings : mapping of kind to Keeper
        What a browser's outbox may set, and how it is stored.
    count : callable or None
        Takes the desk and the organ's number: how many wait there, shown at its place in the
        navigation; the words for them are ``NAME.place_count``.
    """

    name: str
    doors: tuple[Door, ...]
    place: str | None = None
    rank: int = 100
    is_for_people: bool = False
    settings: Mapping[str, Keeper] = field(default_factory=lambda: MappingProxyType({}))
    count: Count | None = None

    @property
    def place_permission(self) -> Permission:
        """What the door at its place asks for."""
        path = (self.place or "").replace("{organ}", "{organ:int}")
        return next(d.permission for d in self.doors if d.path == path and "GET" in d.methods)
