"""Spoiled descriptions and lists never break the reader; bench mutations tries more."""

from __future__ import annotations

import pytest

from tests.organ.mutations import (
    spoiled_description,
    spoiled_list,
    use_whatever_is_listed,
    use_whatever_is_read,
)


@pytest.mark.parametrize("share", range(4))
def test_a_spoiled_description_is_answered_or_used(share: int) -> None:
    right = [
        use_whatever_is_read(spoiled_description(n)) for n in range(share * 60, share * 60 + 60)
    ]
    assert 0 < sum(right) < len(right)  # some are still right, and are used


def test_a_spoiled_stop_list_is_read_to_its_last_line() -> None:
    for number in range(120):
        use_whatever_is_listed(spoiled_list(number))


def test_those_that_once_broke_it() -> None:
    assert not use_whatever_is_read(spoiled_description(19371))  # beats of a celeste, all wrong
    use_whatever_is_listed(spoiled_list(325))  # a CSV head glued to the first row
