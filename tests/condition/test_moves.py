"""Which way, how far, and what is learned of the hand."""

import numpy as np
import pytest

from walkboard.condition.moves import Hand, MoveSeen, advise, learn_hand


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
    assert advise("slide", 2.0, 440.0, 343.0, told="historic: leave it").caution == (
        "historic: leave it"
    )
