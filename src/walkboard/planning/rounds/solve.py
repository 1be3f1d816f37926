"""A whole round: greedy, exchanges, bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from walkboard.planning.rounds.bound import bound_of
from walkboard.planning.rounds.greedy import fill
from walkboard.planning.rounds.improve import improve
from walkboard.planning.rounds.kinds import Firm, Prices, Round, Stop
from walkboard.planning.rounds.polish import polish
from walkboard.planning.rounds.state import BeingBuilt


def solve_round(
    firm: Firm,
    prices: Prices | None = None,
    *,
    before: tuple[Stop, ...] = (),
    polish_s: float = 0.0,
    progress: Callable[[str], None] = lambda _: None,
) -> Round:
    """The best round found, with a bound on what the best possible one is worth.

    Parameters
    ----------
    firm : Firm
    prices : Prices or None
        None: the usual ones.
    before : tuple of Stop
        The previous round. Its visits stay unless moving one gains more than it costs.
    polish_s : float
        Seconds for the exact solver; 0: without it.
    progress : callable
        Called with what is being done.

    Raises
    ------
    InputError
        If the exact solver was asked for and is not installed.
    """
    asked = prices or Prices()
    progress("Choosing visits")
    found = _begin(firm, asked, before)
    fill(found)
    improve(found)
    if before:  # the round before may hold a better one back
        fresh = BeingBuilt(firm, asked, before)
        fill(fresh)
        improve(fresh)
        found = max(found, fresh, key=lambda one: one.total())
    progress("Bounding what is possible")
    bound = bound_of(firm, asked, before)
    if polish_s > 0.0:
        progress(f"Looking for a better one for {polish_s:.0f} s")
        stops = polish(firm, asked, tuple(sorted(found.stops)), before, limit_s=polish_s)
        found = max(found, BeingBuilt(firm, asked, before, stops), key=lambda one: one.total())
    return replace(found.as_round(), bound=bound)


def _begin(firm: Firm, prices: Prices, before: tuple[Stop, ...]) -> BeingBuilt:
    """The visits of the round before that are still possible, those worth most first."""
    built = BeingBuilt(firm, prices, before)
    gain = {stop: float(firm.benefit[stop.organ][:, stop.week].sum()) for stop in before}
    for stop in sorted(before, key=lambda stop: (-gain[stop], stop)):
        if built.fits(stop):
            built.add(stop)
    return built
