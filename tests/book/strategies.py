"""Hypothesis strategies for everything a book stores, as odd as the types allow."""

from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import TypeVar

from hypothesis import strategies as st

from walkboard.book.records import Conditions, TickState
from walkboard.listening.readings import Bound, Bounded, Either, Measured, Withheld
from walkboard.listening.types import HoldFlag, Partial, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.planning.plan import CurvePoint, Plan, PlanItem, Reference
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.plausible import AIR_CELSIUS, HUMIDITY, WIND_MM, Range
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.recognise.verdict import AlsoSounding, Cipher, Clock, Heard, Tremulant

T = TypeVar("T")

numbers = st.floats(allow_nan=False, allow_infinity=False)
maybe_numbers = st.none() | numbers
# Half a surrogate pair is no text (UTF-8); NUL has a test of its own, as PostgreSQL has none.
_ANY = st.characters(exclude_categories=["Cs"], exclude_characters="\0")
words = st.text(_ANY, max_size=6)
names = st.text(_ANY, min_size=1, max_size=6)
counts = st.integers(min_value=0, max_value=2**31 - 1)
keys = st.builds(Key, st.integers(min_value=0, max_value=127)) | st.sampled_from(
    [Key.parse("Ab3*"), Key.parse("D#4*")]
)
pipes = st.builds(PipeRef, names, st.integers(min_value=1, max_value=2**31 - 1))
# In any zone, and of an hour that a zone has twice either one. Compare them in UTC, for such an
# hour equals nothing in another zone (Python, datetime: aware objects, PEP 495).
instants = st.datetimes(
    min_value=datetime(1990, 1, 1),  # noqa: DTZ001 - the zone is drawn beside it
    max_value=datetime(2090, 1, 1),  # noqa: DTZ001
    timezones=st.timezones(),
    allow_imaginary=False,
)
past_instants = st.integers(min_value=0, max_value=10**9).map(
    lambda seconds: datetime(1990, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
)


def tuples(of: st.SearchStrategy[T]) -> st.SearchStrategy[tuple[T, ...]]:
    return st.lists(of, max_size=2).map(tuple)


def within(kind: Range) -> st.SearchStrategy[float]:
    return st.floats(min_value=kind.low, max_value=kind.high)


airs = st.dictionaries(names, within(AIR_CELSIUS), max_size=2)
maybe_airs = st.none() | within(AIR_CELSIUS)
conditions = st.builds(
    Conditions,
    air_celsius=airs.map(MappingProxyType),
    humidity=st.none() | within(HUMIDITY),
    wind_mm=st.dictionaries(names, within(WIND_MM), max_size=2).map(MappingProxyType),
    noted_at=instants,
)
common = {
    "pipe": pipes,
    "level_db": maybe_numbers,
    "start_s": numbers,
    "end_s": numbers,
    "flags": tuples(st.sampled_from(ReadingFlag)),
    "name_sureness": maybe_numbers,
    "beat_hz": maybe_numbers,
    "partials": tuples(st.builds(Partial, counts, numbers)),
}
twos = st.tuples(numbers, numbers)
bounds = st.builds(Bound, numbers, numbers, st.none() | st.builds(Either, twos, twos))
readings = (
    st.builds(
        Measured,
        **common,
        hz=numbers,
        sigma_cents=numbers,
        cents=numbers,
        wander_cents=st.none() | numbers,
        named_from=st.none() | bounds,
    )
    | st.builds(Bounded, **common, bound=bounds)
    | st.builds(Withheld, **common)
)
holds = st.builds(
    Hold,
    n=counts,
    key=st.none() | keys,
    key_number=st.none() | counts,
    start_s=numbers,
    end_s=numbers,
    readings=tuples(readings),
    sureness=numbers,
    flags=tuples(st.sampled_from(HoldFlag)),
)
sounds = st.builds(SoundInfo, seconds=numbers, sample_rate=counts, channels=counts, format=words)
above_zero = st.floats(min_value=1e-9, max_value=1e9)
heards = st.builds(
    Heard,
    sentence=words,
    is_walk=st.booleans(),
    also_sounding=tuples(
        st.builds(AlsoSounding, names, counts, counts, st.sampled_from([-12, 0, 12]), tuples(names))
    ),
    not_sounding=tuples(names),
    shift_cents=maybe_numbers,
    tremulant=st.none() | st.builds(Tremulant, above_zero, above_zero, above_zero),
    cipher=tuples(
        st.builds(Cipher, st.none() | names, above_zero, numbers, numbers, tuples(names))
    ),
    believed=st.booleans(),
    question=words,
    undecided=tuples(words),
    clock=st.none()
    | st.builds(Clock, above_zero, tone_hz=st.none() | above_zero, off_cents=maybe_numbers),
)
walks = st.builds(
    HeardWalk,
    file=words,
    sound=sounds,
    organ=words,
    drawn=tuples(words),
    air_celsius=maybe_airs,
    holds=tuples(holds),
    silent_keys=tuples(keys),
    warnings=tuples(words),
    heard=st.none() | heards,
    not_held=tuples(keys),
    unsure_keys=tuples(keys),
)
plans = st.builds(
    Plan,
    minutes=numbers,
    reference=tuples(st.builds(Reference, words, numbers, numbers, maybe_numbers)),
    items=tuples(st.builds(PlanItem, counts, pipes, numbers, numbers, words, numbers, words)),
    cost_before=numbers,
    cost_after=numbers,
    cost_bound=numbers,
    minutes_used=numbers,
    curve=tuples(st.builds(CurvePoint, numbers, numbers)),
    walk_minutes=numbers,
    walk_bound_minutes=numbers,
    notes=tuples(words),
)
event_uses = st.builds(
    EventUse,
    tuples(
        st.builds(
            RegistrationUse,
            st.lists(words, min_size=1, max_size=2).map(tuple),
            st.floats(1e-3, 1e6),
            st.dictionaries(
                words, st.dictionaries(st.integers(0, 127), numbers, max_size=2), max_size=2
            ),
            words,
        )
    ),
)
tick_states = st.sampled_from(TickState).map(str)
