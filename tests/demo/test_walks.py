"""The hall's walks, rendered and written."""

import pickle
from dataclasses import replace

import av
import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose

from walkboard.demo.hall import hall_state
from walkboard.demo.synthesiser import Faults, Slip
from walkboard.demo.walks import WalkPlan, plan_walk, record, render, walks
from walkboard.demo.write_files import write
from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.examples import hall
from walkboard.organ.model import Family
from walkboard.organ.reading import read_organ


@pytest.fixture(scope="module")
def organ():
    return read_organ(hall())


@pytest.fixture(scope="module")
def state(organ):
    return hall_state(organ, 2026)


@pytest.fixture(scope="module")
def plans(organ):
    return walks(organ)


def first_keys(plan: WalkPlan, count: int) -> WalkPlan:
    """The same plan over its lowest keys, for speed; faults outside them are left behind."""
    return replace(plan, keys=plan.keys[:count], pipes=plan.pipes[:count], faults=Faults())


def test_at_least_eight_ranks_from_three_divisions_with_every_kind(organ, plans):
    assert len(plans) >= 8
    assert len({plan.division for plan in plans}) >= 3
    ranks = [organ.rank(plan.pipes[0][0].rank) for plan in plans]
    assert {Family.STOPPED, Family.REED, Family.OPEN, Family.CHIMNEY} <= {r.family for r in ranks}
    multiples = [
        rank.multiple_of(plan.pipes[0][0].number) for plan, rank in zip(plans, ranks, strict=True)
    ]
    assert any(m.denominator == 1 and m.numerator % 3 == 0 for m in multiples)  # a mutation
    assert 0.5 in [float(m) for m in multiples]  # a 16′
    assert len({plan.file for plan in plans}) == len(plans)


def test_each_fault_that_the_demo_shows_is_among_them(plans):
    faults = [plan.faults for plan in plans]
    for kind in ("dead", "wrong", "wrong_corrected", "repeated", "out_of_order", "off_speech"):
        assert sum(len(getattr(f, kind)) for f in faults) == 1
    for plan in plans:
        walked = set(plan.keys)
        named = {*plan.faults.dead, *plan.faults.wrong, *plan.faults.repeated}
        named |= {*plan.faults.wrong_corrected, *plan.faults.out_of_order, *plan.faults.long}
        named |= {key for key, _ in plan.faults.off_speech}
        assert named <= walked


def test_a_walk_sounds_the_pipes_of_its_stop_at_their_true_pitch(state, plans):
    trumpet = next(p for p in plans if p.drawn == ("great.trumpet8",))
    rendered = render(first_keys(trumpet, 3), state, np.random.default_rng(1))
    # the 8′ is drawn from the thirteenth pipe of a 16′ rank
    assert [h.pipes[0].pipe.number for h in rendered.holds] == [13, 14, 15]
    for hold in rendered.holds:
        assert hold.pipes[0].hz == state.hz(hold.pipes[0].pipe)


def test_a_registration_sounds_every_pipe_that_it_draws(organ, state):
    plan = plan_walk(organ, "both.wav", ["great.octave4", "great.mixture"])
    rendered = render(first_keys(plan, 1), state, np.random.default_rng(1))
    assert len(rendered.holds[0].pipes) == 5


def test_stops_missing_from_the_organ_are_refused(organ):
    with pytest.raises(UnknownNameError, match="no stop"):
        plan_walk(organ, "x.wav", ["great.kazoo8"])


@pytest.mark.parametrize("ending", [".flac", ".wav", ".ogg", ".mp3"])
def test_files_hold_what_was_rendered(state, plans, tmp_path, ending):
    rendered = render(first_keys(plans[0], 2), state, np.random.default_rng(1))
    path = tmp_path / f"walk{ending}"
    write(rendered, path)
    read, rate = soundfile.read(path, dtype="float32", always_2d=True)
    assert rate == rendered.sample_rate
    assert read.shape[1] == rendered.samples.shape[1]
    if ending in {".flac", ".wav"}:
        # 16 bits: half a step of 2^-15, or a whole one where the writer cuts instead of rounding
        assert_allclose(read, rendered.samples, atol=2.0**-15 + 1e-7)
    else:
        n = min(read.shape[0], rendered.samples.shape[0])
        assert abs(read.shape[0] - rendered.samples.shape[0]) < 0.1 * rate
        assert_allclose(np.std(read[:n]), np.std(rendered.samples[:n]), rtol=0.05)


def test_a_phones_file_decodes_to_the_same_sound(state, plans, tmp_path):
    phone = next(p for p in plans if p.file.endswith(".m4a"))
    recorded = record(first_keys(phone, 3), state, 1, tmp_path)
    rendered = render(first_keys(phone, 3), state, np.random.default_rng(1))
    with av.open(str(recorded.path)) as container:
        frames = [f.to_ndarray() for f in container.decode(container.streams.audio[0])]
        assert container.streams.audio[0].rate == phone.sample_rate
    read = np.concatenate(frames, axis=1)[0]
    assert abs(read.size / phone.sample_rate - rendered.seconds) < 0.1
    # where the encoder has put the sound: the peak of the correlation of both
    n = min(read.size, rendered.samples.shape[0])
    spectrum = np.fft.rfft(read[:n]) * np.conj(np.fft.rfft(rendered.samples[:n, 0]))
    lag = int(np.argmax(np.fft.irfft(spectrum, n)))
    assert min(lag, n - lag) / phone.sample_rate < 0.005
    assert_allclose(np.std(read), np.std(rendered.samples), rtol=0.05)


def test_a_recording_goes_to_another_process_with_its_truth(state, plans, tmp_path):
    short = first_keys(plans[1], 2)
    assert pickle.loads(pickle.dumps(short)) == short
    recorded = pickle.loads(pickle.dumps(record(short, state, 3, tmp_path)))
    assert recorded.path.exists()
    hold = recorded.truth.holds[1]
    mean_hz = hold.pipes[0].mean_hz(hold.start_s + 1.0, hold.end_s)
    assert abs(1200.0 * np.log2(mean_hz / state.hz(hold.pipes[0].pipe))) < 1.0


def test_slips_are_in_the_truth(state, plans):
    plan = next(p for p in plans if p.faults.dead)
    dead = plan.faults.dead[0]
    at = plan.keys.index(dead)
    short = replace(plan, keys=plan.keys[at - 1 : at + 2], pipes=plan.pipes[at - 1 : at + 2])
    rendered = render(short, state, np.random.default_rng(1))
    assert rendered.silent_keys == (dead,)
    assert [h.slips for h in rendered.holds] == [(), (Slip.DEAD,), ()]


def test_an_unknown_ending_is_refused(state, plans, tmp_path):
    rendered = render(first_keys(plans[0], 1), state, np.random.default_rng(1))
    with pytest.raises(InputError, match=r"not written as \.aac"):
        write(rendered, tmp_path / "walk.aac")
