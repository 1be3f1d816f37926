"""Where facts belong: in their series, by their uids alone."""

from itertools import permutations

from walkboard.book.merging.planning import Place, Series, missing, numbers
from walkboard.book.rows.versions import heads, root


def test_what_is_there_and_not_here() -> None:
    there = {"visit": {"b": 2, "a": 1}, "tick": {"t": 1}}
    assert missing(there, {"visit": {"b": 7}}) == {"visit": ("a",), "tick": ("t",)}
    assert missing(there, there) == {}


def test_one_between_two_others() -> None:
    series = Series(["a", "c"])
    assert series.put("b") == Place("a", "c")
    assert series.put("0") == Place(None, "a")
    assert series.put("d") == Place("c", None)
    assert series.uids == ["0", "a", "b", "c", "d"]


def test_any_order_gives_the_same_series_and_numbers() -> None:
    for order in permutations("abcd"):
        series = Series()
        for uid in order:
            series.put(uid)
        assert series.uids == ["a", "b", "c", "d"]
        assert numbers(order) == {"a": 1, "b": 2, "c": 3, "d": 4}


def test_two_who_went_on_from_the_same_are_a_fork_until_someone_follows_both() -> None:
    versions = [("a", ()), ("b", ("a",)), ("c", ("a",))]
    assert heads(versions) == ("b", "c")
    assert heads([*versions, ("d", ("b",))]) == ("c", "d")  # who wrote d did not know c
    assert heads([*versions, ("d", ("b", "c"))]) == ("d",)


def test_the_first_of_a_series() -> None:
    assert root("d", {"a": (), "b": ("a",), "c": ("a",), "d": ("b", "c")}) == "a"
