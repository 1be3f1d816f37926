import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.organ.model import TunedBy
from walkboard.physics.flue import slide_mm_for_cents, stopper_mm_for_cents
from walkboard.physics.moving import Device, Movement, Sense, movement, spring_movement


def test_devices_are_the_words_of_the_organ_description():
    assert {d.value for d in Device} == {t.value for t in TunedBy}


# Common practice, no source; spring: also Encyclopedia Americana, article on tuning.
@pytest.mark.parametrize(
    ("device", "sharper", "flatter"),
    [
        ("slide", "slide down", "slide up"),
        ("cone", "open the top with the cone", "close the top with the cup"),
        ("roll", "roll the tongue of the slot down", "roll the tongue of the slot up"),
        ("stopper", "stopper in", "stopper out"),
        ("cap", "cap down", "cap up"),
        ("ears", "bend the ears away from the mouth", "bend the ears towards the mouth"),
        ("shade", "lift the shade off the top", "lower the shade over the top"),
        ("spring", "spring down", "spring up"),
    ],
)
def test_which_way_to_move(device, sharper, flatter):
    up = movement(device, 3.0, hz=440.0, speed_m_s=343.2)
    down = movement(TunedBy(device), -3.0, hz=440.0, speed_m_s=343.2)
    assert (up.words, up.sense) == (sharper, Sense.SHARPER)
    assert (down.words, down.sense) == (flatter, Sense.FLATTER)


@given(st.floats(30.0, 8000.0), st.floats(0.1, 40.0))
def test_how_far_is_what_the_physics_says(hz, cents):
    slide = movement("slide", -cents, hz=hz, speed_m_s=343.2)
    assert slide.least_mm is not None
    np.testing.assert_allclose(slide.least_mm, slide_mm_for_cents(hz, -cents, 343.2))
    for device in ("stopper", "cap"):
        found = movement(device, cents, hz=hz, speed_m_s=343.2)
        assert found.least_mm is not None
        np.testing.assert_allclose(found.least_mm, -stopper_mm_for_cents(hz, cents, 343.2))


@pytest.mark.parametrize("device", ["cone", "roll", "ears", "shade", "spring"])
def test_where_no_law_is_known_no_distance_is_given(device):
    found = movement(device, 3.0, hz=440.0, speed_m_s=343.2)
    assert found.least_mm is None
    assert found.most_mm is None
    assert found.distance == ""


def test_a_reed_whose_law_is_not_known_gets_both_ends():
    found = spring_movement(6.0, tongue_mm=30.0)
    assert found.least_mm is not None
    assert found.most_mm is not None
    np.testing.assert_allclose([found.least_mm, found.most_mm], [0.052, 0.104], atol=0.001)
    assert found.distance == "0.05 to 0.10 mm"
    learned = spring_movement(6.0, tongue_mm=30.0, exponent=1.0)
    assert learned.distance == "about 0.10 mm"
    assert learned.words == "spring down"


@pytest.mark.parametrize(
    ("hz", "cents", "words"),
    [
        (440.0, -2.0, "about 0.45 mm"),
        (65.4, 5.0, "about 7.6 mm"),
        (32.7, 10.0, "about 30 mm"),
        (8372.0, 0.2, "under 0.01 mm"),
    ],
)
def test_distances_are_written_as_a_tuner_can_use_them(hz, cents, words):
    assert movement("slide", cents, hz=hz, speed_m_s=343.2).distance == words


@pytest.mark.parametrize("cents", [0.0, float("nan")])
def test_nothing_to_move_is_reported(cents):
    with pytest.raises(ValueError, match="nothing to move"):
        movement("slide", cents, hz=440.0, speed_m_s=343.2)


def test_an_unknown_device_is_refused():
    with pytest.raises(ValueError, match="is not a valid Device"):
        movement("hammer", 3.0, hz=440.0, speed_m_s=343.2)


def test_a_movement_has_both_distances_or_neither():
    with pytest.raises(ValueError, match="both distances or neither"):
        Movement(Device.SLIDE, Sense.SHARPER, "slide down", 1.0)
