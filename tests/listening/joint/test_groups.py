"""Which partials fall together: counted by hand."""

from __future__ import annotations

from walkboard.listening.joint.groups import Group, group_partials


def with_pipe(groups: tuple[Group, ...], pipe: int) -> list[int]:
    return [m.number for group in groups for m in group.members if m.pipe == pipe]


def test_a_pipe_at_the_top_of_the_compass_keeps_four_partials() -> None:
    """c''''' of a 2′, 4,186 Hz: its overtones are above 6 kHz, and below 0.45 × 48 kHz."""
    assert with_pipe(group_partials([4186.0], 48_000), 0) == [1, 2, 3, 4]
    assert with_pipe(group_partials([4186.0], 22_050), 0) == [1, 2]


def test_partials_within_thirty_cents_are_one_group_and_others_two() -> None:
    """An octave 25 cents sharp may cross the unison's second partial; one 60 cents sharp not."""
    for cents, together in ((25.0, True), (60.0, False)):
        octave_hz = 2000.0 * 2.0 ** (cents / 1200.0)
        groups = group_partials([1000.0, octave_hz], 48_000)
        assert any(group.pipes == {0, 1} for group in groups) is together


def test_a_sub_band_is_flat_wherever_its_pipes_may_be() -> None:
    """22 cents either side of the outer partials, and 2 Hz more for their wander."""
    (low, *_) = group_partials([500.0, 504.0], 48_000)
    assert low.pipes == {0, 1}
    for edge_hz in (500.0 * 2.0 ** (-22.0 / 1200.0), 504.0 * 2.0 ** (22.0 / 1200.0)):
        assert abs(abs(edge_hz - low.centre_hz) + 2.0 - low.even_hz) < 1e-6
