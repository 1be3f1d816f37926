"""The census: counted again from the description itself."""

from __future__ import annotations

import re
import tomllib
from collections import Counter

import pytest
from hypothesis import given, settings

from tests.strategies import organs
from walkboard.organ import examples
from walkboard.organ.census import census
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ


@pytest.mark.parametrize("text", [examples.village(), examples.hall()], ids=["village", "hall"])
def test_counts_are_those_of_the_file(text: str) -> None:
    raw = tomllib.loads(text)
    counted = census(read_organ(text))
    by_division: Counter[str] = Counter()
    by_family: Counter[str] = Counter()
    by_tuning: Counter[str] = Counter()
    for rank in raw["rank"]:
        by_division[rank["division"]] += rank["pipes"]
        by_family[rank["family"]] += rank["pipes"]
        by_tuning[rank["tuned_by"]] += rank["pipes"]
    assert {d.id: d.pipes for d in counted.divisions} == dict(by_division)
    assert {k: v for k, v in counted.total.by_family if v} == dict(by_family)
    assert {k: v for k, v in counted.total.by_tuning if v} == dict(by_tuning)
    assert counted.total.pipes == sum(by_division.values())
    assert counted.total.ranks == len(raw["rank"])
    historic = sum(r["pipes"] for r in raw["rank"] if r.get("historic"))
    assert counted.total.historic == historic


@settings(max_examples=20, deadline=None)
@given(organs())
def test_divisions_make_the_whole(organ: Organ) -> None:
    counted = census(organ)
    total = counted.total
    assert total.pipes == sum(d.pipes for d in counted.divisions) == len(list(organ.pipes()))
    assert total.stops == sum(d.stops for d in counted.divisions) == len(organ.stops)
    for count in (*counted.divisions, total):
        assert sum(pipes for _, pipes in count.by_family) == count.pipes
        assert sum(pipes for _, pipes in count.by_tuning) == count.pipes


def test_text_shows_every_number_in_its_column() -> None:
    text = census(read_organ(examples.village())).text()
    assert text.split("\n") == [
        "Nether Brask parish church",
        "A4 = 441.5 Hz at 15 °C, temperament young 2",
        "",
        "       keys  stops  ranks  pipes  open  stopped  chimney  reed",
        "Great    54      4      4    216   162       54",
        "Swell    54      3      3    150    54                54    42",
        "Pedal    30      2      1     42             42",
        "all              9      8    408   216       96       54    42",
        "",
        "Pipes by way of tuning",
        "       slide  cone  stopper  cap  spring",
        "Great     54   108       54",
        "Swell     54                  54      42",
        "Pedal                    42",
        "all      108   108       96   54      42",
    ]


def test_historic_pipes_are_named() -> None:
    text = census(read_organ(examples.hall())).text()
    assert re.search(r"^58 pipes are historic: left to the organ's adviser\.$", text, re.MULTILINE)


def test_json_holds_the_same() -> None:
    reported = census(read_organ(examples.hall())).to_json()
    assert reported["organ"] == "Harbour Hall, Tarnhaven"
    total = reported["total"]
    assert isinstance(total, dict)
    assert total["pipes"] == 2534
    assert total["families"] == {"open": 1638, "stopped": 175, "chimney": 180, "reed": 541}
    assert total["tuned_by"]["spring"] == 541
