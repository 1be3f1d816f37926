"""The practice organ: what its hands and pipes do, measured without Walkboard's listening."""

import numpy as np
import pytest

from walkboard.capture.playing import NoWait
from walkboard.demo.practice.organ import RATE, PracticeOrgan, PracticePipe
from walkboard.demo.synthesiser.voices import PipeVoice, VoiceKind
from walkboard.organ.model import PipeRef

PIPE = PipeRef("practice", 1)


def organ(cents: float = 0.0, *, stick: float = 0.0, room_s: float = 0.0) -> PracticeOrgan:
    voice = PipeVoice(PIPE, VoiceKind.OPEN, 440.0, wander_cents=0.0)
    pipe = PracticePipe(voice, 440.0, cents, stick=stick, warmth_cents=8.0, tau_s=30.0)
    return PracticeOrgan({PIPE: pipe}, NoWait(), np.random.default_rng(1), room_s=room_s)


def hear(at: PracticeOrgan, seconds: float) -> np.ndarray:
    blocks = at.blocks()
    count = round(seconds / 0.02)
    return np.concatenate([next(blocks).samples[:, 0] for _ in range(count)])


def pitch_cents(sound: np.ndarray) -> float:
    """From the turn of the fundamental's phase over a second (textbook)."""
    times = np.arange(len(sound)) / RATE
    low = sound * np.exp(-2j * np.pi * 440.0 * times)
    parts = np.array_split(low, 20)
    phase = np.unwrap(np.angle([part @ np.hanning(len(part)) for part in parts]))
    slope = np.polyfit((np.arange(20) + 0.5) * len(sound) / RATE / 20, phase, 1)[0]
    return float(1200.0 * np.log2(1.0 + slope / (2.0 * np.pi) / 440.0))


def test_a_held_pipe_sounds_at_its_pitch_and_is_silent_when_released() -> None:
    at = organ(6.0)
    at.hold(PIPE)
    hear(at, 0.5)
    assert pitch_cents(hear(at, 1.0)) == pytest.approx(6.0, abs=0.05)
    at.release()
    hear(at, 1.5)
    assert np.sqrt(np.mean(hear(at, 0.2) ** 2)) < 3e-4


def test_a_slide_moved_by_what_physics_says_moves_the_pitch_so_far() -> None:
    at = organ(0.0)
    # half a wave at 440 Hz and 341 m/s is 387.5 mm; 1 mm of it is 4.46 cents (arithmetic)
    at.move_mm(PIPE, 1.0)
    assert at.pipes[PIPE].at_rest_cents == pytest.approx(-4.46, abs=0.02)
    at.move_cents(PIPE, 4.46)
    assert at.pipes[PIPE].at_rest_cents == pytest.approx(0.0, abs=0.02)


def test_a_spring_moved_by_millimetres_moves_the_pitch_by_the_tongues_law() -> None:
    at = organ(0.0)
    at.pipes[PIPE].tongue_mm, at.pipes[PIPE].exponent = 30.0, 1.0
    # −1731.2/30 = −57.7 cents a millimetre of tongue for f ∝ 1/L (Plitnik and Knox 1995)
    at.move_mm(PIPE, 0.1)
    assert at.pipes[PIPE].at_rest_cents == pytest.approx(-5.77, abs=0.02)
    at.pipes[PIPE].exponent = 2.0
    at.move_mm(PIPE, -0.1)  # −115.4 for the ideal bar
    assert at.pipes[PIPE].at_rest_cents == pytest.approx(5.77, abs=0.06)


def test_a_hand_warms_a_pipe_and_it_falls_back_with_its_time_constant() -> None:
    at = organ(0.0)
    at.touch(PIPE)
    at.wait(60.0)
    at.let_go(PIPE)
    at.hold(PIPE)
    hear(at, 0.5)
    assert pitch_cents(hear(at, 1.0)) == pytest.approx(8.0 * np.exp(-1.0 / 30.0), abs=0.1)
    at.wait(30.0)
    assert at.pipes[PIPE].warm_cents == pytest.approx(8.0 * np.exp(-31.5 / 30.0), abs=0.1)


def test_the_room_falls_by_sixty_decibels_in_its_time() -> None:
    at = organ(0.0, room_s=1.0)
    at.hold(PIPE)
    hear(at, 2.0)
    at.release()
    hear(at, 0.3)
    first = float(np.mean(hear(at, 0.2) ** 2))
    later = float(np.mean(hear(at, 0.2) ** 2))
    assert 10.0 * np.log10(first / later) == pytest.approx(12.0, abs=4.0)


def test_what_has_no_law_is_not_moved_by_millimetres() -> None:
    at = organ()
    at.pipes[PIPE].waves = None
    with pytest.raises(ValueError, match="not tuned by its length"):
        at.move_mm(PIPE, 1.0)


def test_it_ends_when_it_is_closed() -> None:
    at = organ()
    blocks = at.blocks()
    next(blocks)
    at.close()
    assert list(blocks) == []
