"""The whole job on an invented hall: built, recorded, heard, planned, printed, and checked.

Everything but the organ is real: files as recorders and phones write them, the same use cases as
the command line, a real book, real PDFs. At the end the readings are compared with the truth that
only the synthesiser knows.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from walkboard.book.records import Conditions, FaultKind
from walkboard.demo.compare import Comparison, compare
from walkboard.demo.hall import HallState, hall_state
from walkboard.demo.history.book import write_history
from walkboard.demo.walks import WalkPlan, record, walks
from walkboard.errors import InputError
from walkboard.organ import examples
from walkboard.planning.plan import Plan
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.to_json import walk_to_json
from walkboard.work import faults, open_book, plans, print_sheets
from walkboard.work import visit as visit_work
from walkboard.work.hear_recordings import ToHear, hear_walk_file
from walkboard.work.organ_files import load_organ
from walkboard.work.plan_request import request_of
from walkboard.work.processes import Progress, finished
from walkboard.work.venue_news import next_event

MINUTES = 120.0
SEED = 1881
_MARK = "made-by-walkboard-demo"


@dataclass(frozen=True, eq=False)
class Demo:
    """The demo's results.

    Attributes
    ----------
    folder, description, recordings, book, worklist, report : Path
    plan : Plan
    comparisons : tuple of Comparison
        One per walk, in the order of the walks.
    sound_seconds : float
        Length of all recordings together [s].
    """

    folder: Path
    description: Path
    recordings: Path
    book: Path
    worklist: Path
    report: Path
    plan: Plan
    comparisons: tuple[Comparison, ...]
    sound_seconds: float


def build(
    folder: Path,
    *,
    seed: int = SEED,
    processes: int = 2,
    say: Callable[[str], None],
    progress: Callable[[float, float], None],
) -> Demo:
    """Build the demo in a folder.

    Parameters
    ----------
    folder : Path
        Must not exist, be empty, or hold an earlier demo, which is replaced.
    seed : int
        The same seed gives the same hall and the same recordings.
    processes : int
        How many walks are rendered and heard in parallel.
    say : callable
        Called with one line at each step.
    progress : callable
        Called with walks done and the total.

    Raises
    ------
    InputError
        When the folder holds something else.
    """
    _clear(folder)
    recordings = folder / "recordings"
    recordings.mkdir()
    description = folder / "harbour-hall.toml"
    description.write_text(examples.hall(), encoding="utf-8")
    organ = load_organ(description)
    say(f"{organ.name}: {sum(r.pipes for r in organ.ranks)} pipes in {len(organ.ranks)} ranks.")
    say("Three years of earlier visits are written into its book.")
    state = write_history(
        folder / "book", examples.hall(), hall_state(organ, seed), seed=seed, now=open_book.now()
    )
    walk_plans = walks(organ)

    with open_book.opened(folder / "book") as book:
        kept, _ = open_book.organ_of(book, None)
        visit = book.open_visit(
            kept.id,
            "before the recital",
            minutes=MINUTES,
            conditions=_on_arrival(state),
        )
        say(f"{len(walk_plans)} walks are recorded and heard, {processes} at a time.")
        comparisons: dict[str, Comparison] = {}
        sound_seconds = 0.0
        for plan, heard, comparison in _recorded_and_heard(
            walk_plans,
            state=state,
            description=examples.hall(),
            seed=seed,
            folder=recordings,
            processes=processes,
        ):
            recording = visit_work.keep_heard(book, visit, recordings / plan.file, heard)
            (recordings / plan.file).with_suffix(".json").write_text(
                json.dumps(walk_to_json(heard), ensure_ascii=False, indent=1), encoding="utf-8"
            )
            for kind, stop, key in faults.suspected(organ, recording):
                faults.report(book, kept, organ, kind, _words(kind), stop=stop, key=key.name)
            comparisons[plan.file] = comparison
            sound_seconds += heard.sound.seconds
            progress(len(comparisons), len(walk_plans))
        say(f"A worklist for {MINUTES:g} minutes is planned.")
        event = next_event(book, visit)
        assert event is not None, "the history writes coming events into the calendar"
        assert event.air_celsius is not None
        request = request_of(organ, MINUTES, event_air_celsius={"": event.air_celsius})
        made = plans.kept(book, visit, request).plan
        worklist = print_sheets.print_worklist(book, organ, visit, folder / "worklist.pdf")
        report = print_sheets.print_report(book, organ, visit, folder / "report.pdf")
    return Demo(
        folder=folder,
        description=description,
        recordings=recordings,
        book=folder / "book",
        worklist=worklist,
        report=report,
        plan=made,
        comparisons=tuple(comparisons[plan.file] for plan in walk_plans),
        sound_seconds=sound_seconds,
    )


def _on_arrival(state: HallState) -> Conditions:
    return Conditions(air_celsius=state.thermometer_celsius, humidity=0.52)


def _recorded_and_heard(
    plans: tuple[WalkPlan, ...],
    *,
    state: HallState,
    description: str,
    seed: int,
    folder: Path,
    processes: int,
) -> Iterator[tuple[WalkPlan, HeardWalk, Comparison]]:
    tasks = [_ToRecord(plan, state, description, seed + n, folder) for n, plan in enumerate(plans)]
    for number, done in finished(_record_and_hear, tasks, processes=processes):
        heard, comparison = done.result()
        yield plans[number], heard, comparison


@dataclass(frozen=True, eq=False)
class _ToRecord:
    plan: WalkPlan
    state: HallState
    description: str
    seed: int
    folder: Path


def _record_and_hear(progress: Progress, asked: _ToRecord) -> tuple[HeardWalk, Comparison]:
    recorded = record(asked.plan, asked.state, asked.seed, asked.folder)
    air_celsius = asked.state.thermometer_celsius[asked.plan.division]
    heard = hear_walk_file(
        progress, ToHear(recorded.path, asked.description, asked.plan.drawn, air_celsius)
    )
    return heard, compare(heard, recorded.truth)


def _words(kind: FaultKind) -> str:
    return {
        FaultKind.DEAD_NOTE: "Not heard when its stop was walked.",
        FaultKind.OFF_SPEECH: "Spoke an overtone when its stop was walked.",
    }[kind]


def _clear(folder: Path) -> None:
    if folder.exists():
        if not folder.is_dir() or (any(folder.iterdir()) and not (folder / _MARK).exists()):
            raise InputError(
                "Something else is there already.",
                where=str(folder),
                fix="Choose another --folder.",
            )
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    (folder / _MARK).write_text("This folder may be deleted; 'walkboard demo' replaces it.\n")
