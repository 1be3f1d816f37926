"""Work in several processes: order, progress and end."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from walkboard.errors import SoundError
from walkboard.work.processes import Progress, finished, usable_cores

ROOT = Path(__file__).parents[2]
INTERRUPTED = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job starts with it ignored
from tests.work.test_processes import slept
from walkboard.work.processes import finished
try:
    for number, future in finished(slept, [0.0, 600.0, 600.0], processes=2):
        print(number, future.result(), flush=True)
except KeyboardInterrupt:
    print("interrupted", flush=True)
"""


def doubled(progress: Progress, task: int) -> tuple[int, str]:
    progress(1.0, 2.0)
    progress(2.0, 2.0)
    if task < 0:
        raise SoundError("Less than nothing.", where=f"task {task}")
    return 2 * task, os.environ["OPENBLAS_NUM_THREADS"] + os.environ["OMP_NUM_THREADS"]


def slept(_: Progress, seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def test_each_task_gives_its_own_result_or_its_own_trouble(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", "7")
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    reported: list[tuple[int, float]] = []
    done = dict(
        finished(
            doubled,
            [3, -1, 5],
            processes=2,
            progress=lambda number, done, total: reported.append((number, done / total)),
        )
    )
    assert sorted(done) == [0, 1, 2]
    # One thread each, whatever holds here; and here it is as it was.
    assert done[0].result() == (6, "11")
    assert done[2].result() == (10, "11")
    assert os.environ["OMP_NUM_THREADS"] == "7"
    assert "OPENBLAS_NUM_THREADS" not in os.environ
    with pytest.raises(SoundError, match="task -1: Less than nothing"):
        done[1].result()
    assert {number for number, _ in reported} <= {0, 1, 2}
    assert {share for _, share in reported} <= {0.5, 1.0}


@pytest.mark.skipif(os.name != "posix", reason="sends a signal to a process")
def test_interrupted_it_gives_what_was_done_and_ends_the_rest() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        number, worker = process.stdout.readline().split()
        process.send_signal(signal.SIGINT)
        try:
            rest, said = process.communicate(timeout=120)
        except subprocess.TimeoutExpired:
            process.kill()  # or leaving the block would wait for it for ever
            raise
    assert number == "0"
    assert rest == "interrupted\n"
    assert not said
    with pytest.raises(ProcessLookupError):
        os.kill(int(worker), 0)


def test_there_is_a_core_to_work_on() -> None:
    assert 1 <= usable_cores() <= (os.cpu_count() or 1)
