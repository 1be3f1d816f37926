"""The survey of each organ: what to draw together and which keys to walk.

A large organ takes seconds to plan, so this is done once per description, in the background.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

from walkboard.desk.background.jobs import Progress

if TYPE_CHECKING:
    from walkboard.book.records import KeptOrgan
    from walkboard.desk.background.needs import BookAndJobs
    from walkboard.survey.plan.walk_plan import SurveyPlan

KIND = "survey"
_AT_ONCE_PIPES = 600  # up to so many it takes a tenth of a second; 2,500 take three
_starting = threading.Lock()


@dataclass(eq=False)
class _Slot:
    plan: SurveyPlan | None = None
    job: str = ""


def survey_of(desk: BookAndJobs, kept: KeptOrgan) -> SurveyPlan | None:
    """The survey of one version of an organ; None while it is still being planned."""
    slot = desk.book.memory.get(("survey", kept.id, kept.version), _Slot)
    with _starting:
        if slot.plan is None and not slot.job and _pipes(kept) <= _AT_ONCE_PIPES:
            slot.plan = plan_whole(_ignore_progress, kept.description)
        job = desk.jobs.job(slot.job) if slot.job else None
        if slot.plan is None and (job is None or job.is_over):

            def keep(plan: SurveyPlan) -> None:
                slot.plan = plan

            slot.job = desk.jobs.start(
                KIND, kept.name, plan_whole, kept.description, then=keep, subject=f"organ.{kept.id}"
            ).id
    return slot.plan


def _pipes(kept: KeptOrgan) -> int:
    from walkboard.organ.reading import read_organ  # noqa: PLC0415 - slow to load

    return sum(rank.pipes for rank in read_organ(kept.description).ranks)


def _ignore_progress(done: float, total: float) -> None:
    """Ignore progress of quick work."""


def plan_whole(progress: Progress, description: str) -> SurveyPlan:
    """Runs in the other process."""
    from walkboard.organ.reading import read_organ  # noqa: PLC0415 - slow to load
    from walkboard.survey.plan.make_survey import plan_survey  # noqa: PLC0415 - slow to load

    progress(0.0, 1.0)
    return plan_survey(read_organ(description))
