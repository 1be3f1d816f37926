"""A value many times less sure than its neighbours', beside a pipe that is merged."""

from __future__ import annotations

from walkboard.listening.readings import Measured, Withheld
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import PipeRef
from walkboard.survey.hear.beside_merged import without_doubtful
from walkboard.survey.hear.heard_walk import Hold, Reading
from walkboard.survey.hear.memory import Memory

PRINCIPAL, OCTAVE = "great.principal8", "great.octave4"
MERGED = (ReadingFlag.MERGED,)


def hold(number: int, sigma_cents: float, flags: tuple[ReadingFlag, ...]) -> Hold:
    principal: Reading = Measured(
        pipe=PipeRef(PRINCIPAL, number),
        start_s=0.0,
        end_s=2.0,
        hz=200.0,
        sigma_cents=sigma_cents,
        cents=0.0,
    )
    octave: Reading = Withheld(pipe=PipeRef(OCTAVE, number), start_s=0.0, end_s=2.0, flags=flags)
    return Hold(number, None, None, 3.0 * number, 3.0 * number + 2.5, (principal, octave))


def given(sigma_cents: float, flags: tuple[ReadingFlag, ...]) -> list[bool]:
    """Whether each principal has a value, the fourth being this unsure with this beside it."""
    holds = [hold(n, sigma_cents if n == 4 else 0.04, flags) for n in range(1, 9)]
    alone = [Hold(h.n, None, None, h.start_s, h.end_s, h.readings[:1]) for h in holds]
    memory = Memory({r.pipe: r for h in alone for r in h.readings if isinstance(r, Measured)})
    return [isinstance(h.readings[0], Measured) for h in without_doubtful(holds, memory)]


def test_it_is_not_given() -> None:
    assert given(0.26, MERGED) == [n != 4 for n in range(1, 9)]


def test_it_is_given_beside_a_silent_pipe_or_where_it_is_nearly_as_sure() -> None:
    assert all(given(0.26, (ReadingFlag.SILENT,)))
    assert all(given(0.12, MERGED))
