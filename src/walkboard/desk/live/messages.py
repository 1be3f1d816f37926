"""What a live session sends to the pages, twenty times a second: small, with numbers only if
known.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from walkboard.capture.source import Meter
from walkboard.condition.settling.forecast import Forecast
from walkboard.condition.settling.moves import Advice
from walkboard.languages.translation import translate
from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.organ.model import Organ
from walkboard.sheets.wording import rank_words
from walkboard.work.live.values import Reason, Result, Shown, Step, Task

_OTHERS = (LiveFlag.OTHER_KEY, LiveFlag.NEIGHBOUR)


def live_message(shown: Shown, organ: Organ, meter: Meter) -> dict[str, Any]:
    """One update as JSON carries it.

    Parameters
    ----------
    shown : Shown
    organ : Organ
    meter : Meter

    Returns
    -------
    dict
        ``step``, ``pipe``, ``rank``, ``key`` (semitone), ``target``, ``done``, ``total``; of a
        reading ``cents``, ``sigma``, ``beats``, ``window``, ``flags``, ``other`` (semitone of
        another key that is heard) and ``beside``; ``move`` with ``words``, ``caution``, ``cents``;
        ``settling`` with ``settled``, ``sigma``, ``seconds``, ``known``, ``above``; ``level`` with
        ``db``, ``clipped``, ``lost``, ``words``; ``finished`` with ``pipe``, ``before``, ``after``;
        ``withdrawn`` with ``pipe``, ``key``, ``stands``, where a pipe that was called done moved
        away; ``reason`` why nothing is advised, ``company`` what else sounds.
    """
    return {
        "step": shown.step.value,
        **_task(shown.task, organ),
        "done": shown.done,
        "total": shown.total,
        **_reading(shown.reading, shown.task, organ),
        "move": _move(shown.advice),
        "settling": None if shown.step is Step.DONE else _settling(shown.forecast),
        "level": level(meter),
        "finished": _finished(shown.finished),
        "withdrawn": _withdrawn(shown.withdrawn, shown.reading),
        "reason": shown.reason.value,
        "company": shown.words if shown.reason is Reason.COMPANY else "",
    }


def level(meter: Meter) -> dict[str, Any]:
    """How loud the source is."""
    return {
        "db": round(max(meter.peak_db, -120.0), 1),
        "clipped": meter.clipped,
        "lost": meter.lost,
        "words": translate(meter.words),
    }


def key_state(shown: Shown) -> Mapping[str, Any] | None:
    """What the key holder sees about the held key; None while it is not heard."""
    if shown.finished is not None:
        task: Task | None = shown.finished.task
        state = "enough"
    else:
        task, state = shown.task, "more"
        if shown.reading is None or shown.reading.cents is None:
            return None
    if task is None:
        return None
    return {"key": task.key.semitone, "state": state, "drawn": [task.stop]}


def _task(task: Task | None, organ: Organ) -> dict[str, Any]:
    if task is None:
        return {"pipe": None, "key": None, "target": None, "rank": ""}
    return {
        "pipe": str(task.pipe),
        "key": task.key.semitone,
        "target": round(task.target_hz, 3),
        "rank": rank_words(organ, organ.rank(task.pipe.rank)),
    }


def _reading(reading: LiveReading | None, task: Task | None, organ: Organ) -> dict[str, Any]:
    if reading is None:
        return {"cents": None, "sigma": None, "beats": None, "flags": [], "other": None}
    return {
        "cents": _rounded(reading.cents),
        "sigma": _rounded(reading.sigma_cents),
        "beats": _rounded(reading.beats_per_second),
        "beside": _rounded(reading.reference_hz),
        "within": _rounded(reading.bound_cents),
        "window": _rounded(reading.window_s),
        "flags": [flag.value for flag in reading.flags],
        "other": _other(reading, task, organ),
    }


def _other(reading: LiveReading, task: Task | None, organ: Organ) -> int | None:
    """The semitone of another key of the rank that is heard."""
    named = any(flag in reading.flags for flag in _OTHERS)
    if not named or task is None or not (reading.heard or "").isdigit():
        return None
    return organ.rank(task.pipe.rank).key_of(int(reading.heard or "0")).semitone


def _move(advice: Advice | None) -> dict[str, Any] | None:
    if advice is None:
        return None
    return {
        "words": translate(advice.words),
        "caution": translate(advice.caution),
        "cents": round(advice.cents, 1),
    }


def _settling(forecast: Forecast | None) -> dict[str, Any] | None:
    if forecast is None:
        return None
    return {
        "settled": _rounded(forecast.settled_cents),
        "sigma": _rounded(forecast.sigma_cents),
        "seconds": round(forecast.seconds),
        "known": round(forecast.known_in_s),
        "above": _rounded(forecast.above_cents),
        "words": translate(forecast.words),
    }


def _withdrawn(result: Result | None, reading: LiveReading | None) -> dict[str, Any] | None:
    if result is None:
        return None
    return {
        "pipe": str(result.task.pipe),
        "key": result.task.key.semitone,
        "stands": None if reading is None else _rounded(reading.cents),
    }


def _finished(result: Result | None) -> dict[str, Any] | None:
    if result is None:
        return None
    before = None if result.before is None else _rounded(result.before.cents)
    return {
        "pipe": str(result.task.pipe),
        "key": result.task.key.semitone,
        "before": before,
        "after": _rounded(result.settled_cents),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(float(value), 2)
