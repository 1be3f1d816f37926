"""Which way, how far, and what is learned about the hand."""

import numpy as np
import pytest

from walkboard.condition.settling.moves import Hand, MoveSeen, advise, learn_hand, tongue_mm
from walkboard.organ.model import Rank
from walkboard.organ.reading import read_organ


@pytest.mark.parametrize(
    # common practice, no source: the sense of each tuning device
    ("device", "sharper", "flatter"),
    [
        ("slide", "slide down", "slide up"),
        ("stopper", "stopper in", "stopper out"),
        ("spring", "spring down", "spring up"),
        ("cap", "cap down", "cap up"),
    ],
)
def test_each_device_has_its_sense(device: str, sharper: str, flatter: str) -> None:
    assert advise(device, 3.0, 440.0, 343.0).words.startswith(sharper)
    assert advise(device, -3.0, 440.0, 343.0).words.startswith(flatter)


def test_the_hand_is_learned_past_slips() -> None:
    rng = np.random.default_rng(1)
    seen = [
        MoveSeen(asked, 1.6 * asked * (1.0 + 0.1 * rng.standard_normal()))
        for asked in rng.uniform(-8.0, 8.0, 12)
    ]
    seen += [MoveSeen(5.0, -20.0), MoveSeen(-4.0, 30.0)]  # two slips
    hand = learn_hand(seen)
    assert hand.gain == pytest.approx(1.6, abs=0.15)
    plain = advise("slide", 5.0, 440.0, 343.0).movement.least_mm
    wiser = advise("slide", 5.0, 440.0, 343.0, hand).movement.least_mm
    assert plain is not None
    assert wiser is not None
    # for so few cents the law is a straight line to a thousandth
    assert wiser == pytest.approx(plain / hand.gain, rel=1e-3)


def test_one_move_changes_little_and_none_nothing() -> None:
    assert learn_hand([]) == Hand()
    assert learn_hand([MoveSeen(0.1, 9.0)]) == Hand()
    assert learn_hand([MoveSeen(2.0, 8.0)]).gain == 1.0


def test_moves_that_can_harm_come_with_a_caution() -> None:
    assert "split" in advise("cone", 2.0, 440.0, 343.0).caution
    assert "right pipe" in advise("slide", 60.0, 440.0, 343.0).caution
    assert advise("slide", 2.0, 440.0, 343.0, caution="historic: leave it").caution == (
        "historic: leave it"
    )


def reed_rank(tongues: str) -> Rank:
    text = f"""format = 1
name = "Harbour Hall"
temperament = "equal"
[pitch]
a4_hz = 440.0
at_celsius = 18.0
[[division]]
id = "great"
name = "Great"
keys = 61
[[rank]]
id = "great.trumpet8"
division = "great"
name = "Trumpet"
family = "reed"
feet = "8"
pipes = 61
tuned_by = "spring"
{tongues}
"""
    return read_organ(text).rank("great.trumpet8")


def test_a_reed_is_reported_millimetres_of_the_tongue_that_was_measured() -> None:
    rank = reed_rank("tongue_mm = {1 = 70.0, 13 = 42.0}")
    tongue = tongue_mm(rank, 13, 130.8)
    assert tongue == (42.0, 42.0, False)
    move = advise("spring", 6.0, 130.8, 343.0, tongue=tongue).movement
    # 42 mm: 6 cents are 42 · 6 / 1731.2 mm where f goes as 1/L (Plitnik and Knox 1995), half of
    # that for an ideal bar (Euler and Bernoulli); to a thousandth
    assert move.most_mm == pytest.approx(0.1456, rel=0.01)
    assert move.least_mm == pytest.approx(0.0728, rel=0.01)
    assert move.distance == "0.07 to 0.15 mm"


def test_a_tongue_is_carried_along_the_rank_and_less_surely_the_farther() -> None:
    rank = reed_rank("tongue_mm = {13 = 42.0}")
    near, far = tongue_mm(rank, 15, 146.8), tongue_mm(rank, 49, 1046.5)
    assert near[0] < 42.0 * (146.8 / 130.8) ** -0.7 < near[1]
    assert (far[1] - far[0]) / far[0] > 2.0 * (near[1] - near[0]) / near[0]
    assert not far[2]


def test_an_unmeasured_reed_is_reported_what_is_usual_and_how_it_compares_with_the_last_move() -> (
    None
):
    tongue = tongue_mm(reed_rank(""), 13, 130.8)
    assert tongue[2]
    plain = advise("spring", 6.0, 130.8, 343.0, tongue=tongue)
    assert plain.words.endswith(" mm on a usual tongue")
    hand = learn_hand([MoveSeen(8.0, 9.0), MoveSeen(-4.0, -3.0)])
    again = advise("spring", 6.0, 130.8, 343.0, hand, tongue=tongue)
    assert again.words.endswith("on a usual tongue, about twice your last move")
    assert advise("cone", 1.5, 440.0, 343.0, hand).words == (
        "open the top with the cone, about half of your last move"
    )
    # where a law gives millimetres they say it
    assert "last move" not in advise("slide", 1.5, 440.0, 343.0, hand).words


@pytest.mark.parametrize(
    ("device", "reach"), [("stopper", 120.0), ("slide", 60.0), ("cone", 30.0), ("spring", 100.0)]
)
def test_no_distance_is_given_for_more_than_a_device_can_do(device: str, reach: float) -> None:
    # common practice, no source: how far each can bring a pipe
    within = advise(device, 0.9 * reach, 262.0, 343.0)
    beyond = advise(device, 1.1 * reach, 262.0, 343.0)
    assert within.movement.sense == beyond.movement.sense
    assert beyond.movement.distance == ""
    assert "is it the right pipe" in beyond.caution
    assert (within.movement.distance != "") == (device in {"stopper", "slide"})


@pytest.mark.parametrize(
    # common practice, no source: how far each can bring a pipe [cents]
    ("device", "reach"),
    [
        ("slide", 60.0), ("cone", 30.0), ("roll", 60.0), ("ears", 30.0),
        ("shade", 60.0), ("stopper", 120.0), ("cap", 120.0), ("spring", 100.0),
    ],
)  # fmt: skip
def test_no_move_is_compared_with_the_last_beyond_what_a_device_can_do(
    device: str, reach: float
) -> None:
    """Within reach there is a distance or a comparison; beyond, only the way and a question."""
    hand = learn_hand([MoveSeen(8.0, 8.0), MoveSeen(-8.0, -8.0)])
    for way in (-1.0, 1.0):
        within = advise(device, 0.95 * way * reach, 262.0, 343.0, hand)
        beyond = advise(device, 1.05 * way * reach, 262.0, 343.0, hand)
        assert within.words != within.movement.words
        assert beyond.words == beyond.movement.words == within.movement.words


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.1, "only a little of"),
        (0.25, "about a quarter of"),
        (0.34, "about a third of"),
        (0.5, "about half of"),
        (0.75, "about three quarters of"),
        (1.0, "about as much as"),
        (1.5, "about one and a half times"),
        (2.0, "about twice"),
        (3.0, "about three times"),
    ],
)
def test_a_move_is_compared_with_the_last_in_a_tuners_fractions(share: float, words: str) -> None:
    hand = learn_hand([MoveSeen(8.0, 8.0), MoveSeen(-8.0, -8.0)])
    assert hand.gain == pytest.approx(1.0, abs=0.01)
    said = advise("cone", 8.0 * share, 440.0, 343.0, hand).words
    assert said.endswith(f"{words} your last move")
