"""A scripted tuner who only follows the screen tunes sixty pipes of the practice organ.

The hall's strays of 1.5 to 30 cents, by their tuning devices; hands warm the pipes, slides stick, a
room of 1.2 s. The truth is the practice organ's own. Asked: all within half a cent at rest.
Run: python -m bench practice
"""

from __future__ import annotations

import time

import numpy as np
from tests.work.practising import hall, strays, tune

from walkboard.organ.model import TunedBy
from walkboard.work.live.values import Outcome

PIPES = {
    TunedBy.SPRING: 24,
    TunedBy.CONE: 12,
    TunedBy.SLIDE: 14,
    TunedBy.STOPPER: 6,
    TunedBy.CAP: 4,
}


def main() -> None:
    organ, state = hall()
    begun = time.process_time()
    print("device     pipes  done  before, worst   after, worst  within .5   seconds   moves")
    worst = 0.0
    total = within = 0
    sound_s = 0.0
    for device, count in PIPES.items():
        pipes = strays(organ, state, {device: count})
        tuned = tune(organ, state, pipes, 17)
        after = np.array([abs(t.after_cents) for t in tuned])
        done = sum(t.result is not None and t.result.outcome is Outcome.DONE for t in tuned)
        seconds = np.array([t.seconds for t in tuned])
        sound_s += float(np.nansum(seconds))
        worst = max(worst, float(after.max()))
        total += len(tuned)
        within += int((after < 0.5).sum())
        print(
            f"{device.value:10s}{len(tuned):6d}{done:6d}"
            f"{max(abs(t.before_cents) for t in tuned):15.2f}{after.max():15.3f}"
            f"{np.mean(after < 0.5):11.0%}{np.nanmedian(seconds):10.0f}"
            f"{np.mean([t.moves for t in tuned]):8.1f}",
            flush=True,
        )
        for one in tuned:
            called = one.result is not None and one.result.outcome is Outcome.DONE
            if not called or abs(one.after_cents) >= 0.5:
                what = "done" if called else "not done"
                print(f"    {one.task.pipe}: {what}, {one.after_cents:+.3f} cent", flush=True)
    spent = time.process_time() - begun
    print(f"{within} of {total} within half a cent at rest; the worst {worst:.3f} cent")
    print(f"{sound_s:.0f} s of sound in {spent:.0f} s of one core, five updates a second")


if __name__ == "__main__":
    main()
