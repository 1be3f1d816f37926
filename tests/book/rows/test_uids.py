"""Uids: what RFC 9562 says of version 7, and that their order is the order of facts."""

import uuid
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.book.rows.uids import next_uid, parts_of

MS = st.integers(0, (1 << 47) - 1)


def test_the_example_of_the_standard() -> None:
    # RFC 9562, appendix A.6 (from memory, its fields as the standard library reads them):
    # 2022-02-22 14:22:22 GMT-05:00 is 0x017F22E279B0 ms.
    example = uuid.UUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
    at = datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC)
    assert parts_of(str(example)) == (int(at.timestamp() * 1000), 0xCC3)
    made = uuid.UUID(next_uid("", int(at.timestamp() * 1000)))
    assert made.int >> 80 == example.int >> 80
    assert (made.version, made.variant) == (example.version, example.variant) == (7, uuid.RFC_4122)


@given(times=st.lists(MS, min_size=2, max_size=30))
def test_each_is_later_than_the_one_before_whatever_the_clock_shows(times: list[int]) -> None:
    uids = [""]
    for at_ms in times:
        uids.append(next_uid(uids[-1], at_ms))
    assert uids == sorted(set(uids))
    assert [str(uuid.UUID(uid)) for uid in uids[1:]] == uids[1:]


def test_more_than_a_millisecond_can_count() -> None:
    uid = next_uid("", 1_000)
    for _ in range(2 * 4096):
        later = next_uid(uid, 1_000)
        assert later > uid
        uid = later
    assert parts_of(uid) == (1_002, 0)


def test_two_of_the_same_moment_differ() -> None:
    assert len({next_uid("", 5) for _ in range(1000)}) == 1000


@pytest.mark.parametrize("other", ["", "e", str(uuid.UUID(int=5))])
def test_an_invalid_uid_is_refused(other: str) -> None:
    with pytest.raises(ValueError, match="not a UUID of version 7"):
        parts_of(other)
