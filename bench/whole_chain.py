"""Speed and memory of the whole chain, decode, find and measure, on one core.

Each line hears one rendered walk in its own process. The limit beside the speed is the decoder
alone (two passes, as the chain makes them) and one FFT of every sample: no method that looks at all
of the sound can go below that.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ONE_CORE = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

HEAR = """
import json, os, resource, sys, time
os.sched_setaffinity(0, {0})
from pathlib import Path
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.work.hear_recording import hear_file
organ = read_organ(examples.hall())
path, stop = Path(sys.argv[1]), sys.argv[2]
base = resource.getrusage(resource.RUSAGE_SELF)
begun, cpu = time.perf_counter(), time.process_time()
walk = hear_file(path, organ, [stop], 17.6)
wall, used = time.perf_counter() - begun, time.process_time() - cpu
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
read = sum(r.hz is not None for h in walk.holds for r in h.readings)
print(json.dumps({"seconds": walk.sound.seconds, "wall": wall, "cpu": used, "peak_mb": peak,
                  "holds": len(walk.holds), "read": read}))
"""

LIMIT = """
import json, os, sys, time
os.sched_setaffinity(0, {0})
import numpy as np
from scipy import fft
from walkboard.listening.sound.recording import open_sound
with open(sys.argv[1], "rb") as stream:
    sound = open_sound(stream, "walk")
    begun = time.process_time()
    for _ in range(2):
        for block in sound.blocks():
            pass
    decoding = time.process_time() - begun
    begun = time.process_time()
    for block in sound.blocks():
        fft.rfft(block[:, 0])
    transforming = time.process_time() - begun - decoding / 2
    print(json.dumps({"decode": decoding, "fft": max(transforming, 1e-6)}))
"""


def hear(path: Path, stop: str, code: str = HEAR) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, "-c", code, str(path), stop],
        env={**os.environ, **ONE_CORE},
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def repeated(path: Path, times: int, to: Path) -> Path:
    """The same recording several times over, to see what length costs."""
    import soundfile

    with soundfile.SoundFile(path) as source:
        rate, channels = source.samplerate, source.channels
        samples = source.read(dtype="int16", always_2d=True)
    with soundfile.SoundFile(to, "w", rate, channels, subtype="PCM_16") as file:
        for _ in range(times):
            file.write(samples)
    return to


def main() -> None:
    from walkboard.demo.hall import hall_state
    from walkboard.demo.walks import record, walks
    from walkboard.organ import examples
    from walkboard.organ.reading import read_organ

    organ = read_organ(examples.hall())
    state = hall_state(organ, 1)
    with tempfile.TemporaryDirectory() as folder:
        head = f"{'recording':28} {'s':>6} {'× real time':>12} {'CPU s':>7} {'decode+FFT s':>13}"
        print(f"{head} {'peak MB':>8} {'read':>9}")
        for n, plan in enumerate(walks(organ)):
            path = record(plan, state, 100 + n, Path(folder)).path
            got = hear(path, plan.drawn[0])
            limit = hear(path, "", LIMIT)
            print(
                f"{plan.file:28} {got['seconds']:6.0f} {got['seconds'] / got['cpu']:12.0f} "
                f"{got['cpu']:7.2f} {limit['decode'] + limit['fft']:13.2f} {got['peak_mb']:8.0f} "
                f"{got['read']:4.0f} of {got['holds']:2.0f}",
                flush=True,
            )
        first = Path(folder) / walks(organ)[0].file
        for times in (3, 18):
            long = repeated(first, times, Path(folder) / f"times-{times}.flac")
            got = hear(long, "great.principal8")
            print(
                f"{f'the first, {times} times over':28} {got['seconds']:6.0f} "
                f"{got['seconds'] / got['cpu']:12.0f} {got['cpu']:7.2f} {'':13} "
                f"{got['peak_mb']:8.0f} {got['read']:4.0f} of {got['holds']:4.0f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
