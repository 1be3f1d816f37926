"""Time to typeset the sheets: a report of 19 ranks and worklists of 20 to 600 pipes.

Seconds are processor time of a second run, when Typst has read its letters.
"""

from __future__ import annotations

import io
import time
from datetime import date

import numpy as np
import pypdf

from walkboard.listening.readings import Measured
from walkboard.organ.examples import hall
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import Plan, PlanItem, Reference
from walkboard.sheets.report import visit_report
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.values import VisitFacts, VisitReport, Work, WorklistSheet
from walkboard.sheets.worklist import worklist_sheet

_VISIT = VisitFacts(date(2026, 3, 14), "Bench", event_air_celsius=21.0)


def _report(organ: Organ, ranks: int) -> VisitReport:
    rng = np.random.default_rng(1)
    readings = [
        Measured(
            pipe=PipeRef(rank.id, n),
            hz=440.0,
            sigma_cents=0.2,
            cents=float(rng.normal(0.0, 2.0)),
            level_db=-20.0,
            start_s=0.0,
            end_s=4.0,
        )
        for rank in organ.ranks[:ranks]
        for n in range(1, rank.pipes + 1)
    ]
    return visit_report(organ, _VISIT, readings)


def _worklist(organ: Organ, pipes: int) -> WorklistSheet:
    chosen = list(organ.pipes())[:pipes]
    items = tuple(
        PlanItem(n, pipe, -6.0, target_hz(organ, pipe, 18.0), "sharper", 0.9, "6 cents flat")
        for n, pipe in enumerate(chosen, start=1)
    )
    references = tuple(Reference(d.id, 0.0, 18.0) for d in organ.divisions)
    return worklist_sheet(
        organ, _VISIT, Work(Plan(600.0, references, items, 1.0, 0.0, 0.0, 540.0, ()))
    )


def main() -> None:
    """Print a row for each sheet."""
    organ = read_organ(hall())
    sheets: list[tuple[str, WorklistSheet | VisitReport]] = [
        ("report, 19 charts", _report(organ, 19)),
        ("report, every rank", _report(organ, len(organ.ranks))),
        *((f"worklist, {n} pipes", _worklist(organ, n)) for n in (20, 120, 600)),
    ]
    print(f"{'sheet':22}{'pages':>7}{'seconds':>9}{'kB':>7}")
    for name, sheet in sheets:
        made = render_pdf(sheet)
        began = time.process_time()
        render_pdf(sheet)
        took = time.process_time() - began
        pages = len(pypdf.PdfReader(io.BytesIO(made)).pages)
        print(f"{name:22}{pages:7}{took:9.2f}{len(made) / 1000:7.0f}")


if __name__ == "__main__":
    main()
