"""The organ at a glance: each rank with its compass, and the stops that borrow or extend it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from walkboard.organ.model import Division, Organ, Plays, Rank, Stop
from walkboard.scales.harmonics import feet_of_multiple
from walkboard.scales.keys import Key


class Bar(StrEnum):
    """What a bar of the picture stands for."""

    OWN = "own"
    """A rank on its own chest."""
    EXTENDED = "extended"
    """A stop at another pitch of a rank of its division."""
    BORROWED = "borrowed"
    """A stop that plays a rank of another division."""


@dataclass(frozen=True, slots=True)
class PictureRow:
    """One rank, or one stop without pipes of its own.

    Attributes
    ----------
    id, name : str
    bar : Bar
    family : str
        ``open``, ``stopped``, ``chimney`` or ``reed``; several with a stroke between.
    feet : str
        At its lowest pipe.
    low, high : Key
        Its lowest and highest key.
    pipes : int
        0 for a stop without pipes of its own.
    taken_from : str
        Id of the rank that it plays; empty for a rank.
    """

    id: str
    name: str
    bar: Bar
    family: str
    feet: str
    low: Key
    high: Key
    pipes: int
    taken_from: str = ""


@dataclass(frozen=True, slots=True)
class PictureChest:
    """A chest with what stands on it."""

    id: str
    rows: tuple[PictureRow, ...]


@dataclass(frozen=True, slots=True)
class PictureDivision:
    """A division with its chests, and the stops that it plays from elsewhere."""

    division: Division
    chests: tuple[PictureChest, ...]
    elsewhere: tuple[PictureRow, ...]

    def rows(self) -> Iterable[PictureRow]:
        """Every row, chest by chest."""
        for chest in self.chests:
            yield from chest.rows
        yield from self.elsewhere


def picture(organ: Organ) -> tuple[PictureDivision, ...]:
    """What stands where in an organ, division by division.

    Parameters
    ----------
    organ : Organ
    """
    found = []
    for division in organ.divisions:
        chests: dict[str, list[PictureRow]] = {}
        for rank in organ.ranks:
            if rank.division == division.id:
                chests.setdefault(rank.chest, []).append(_of_rank(rank))
        elsewhere = [
            _of_stop(organ, stop, plays)
            for stop in organ.stops
            if stop.division == division.id
            for plays in stop.plays
            if _is_second(organ, stop, plays)
        ]
        found.append(
            PictureDivision(
                division,
                tuple(PictureChest(id_, tuple(rows)) for id_, rows in chests.items()),
                tuple(elsewhere),
            )
        )
    return tuple(found)


def picture_text(organ: Organ) -> str:
    """The picture in plain text, a column for each two keys."""
    parts = [organ.name]
    divisions = picture(organ)
    rows = [row for division in divisions for row in division.rows()]
    low = min(row.low.semitone for row in rows)
    high = max(row.high.semitone for row in rows)
    width = max(len(_title(row)) for row in rows)
    for one in divisions:
        box = ", enclosed" if one.division.enclosed else ""
        parts += ["", f"{one.division.name} ({one.division.keys} keys{box})"]
        for chest in one.chests:
            parts += [f"  chest {chest.id}"] if len(one.chests) > 1 else []
            parts += [_line(row, low, high, width) for row in chest.rows]
        parts += [_line(row, low, high, width) for row in one.elsewhere]
    return "\n".join(parts) + "\n"


def _of_rank(rank: Rank) -> PictureRow:
    families = dict.fromkeys([rank.family, *(part.family for part in rank.parts)])
    return PictureRow(
        rank.id,
        rank.name,
        Bar.OWN,
        "/".join(families),
        feet_of_multiple(rank.multiples[0][1]),
        rank.keys[0],
        rank.keys[-1],
        rank.pipes,
    )


def _of_stop(organ: Organ, stop: Stop, plays: Plays) -> PictureRow:
    rank = organ.rank(plays.rank)
    bar = Bar.BORROWED if rank.division != stop.division else Bar.EXTENDED
    octaves = rank.key_of(plays.first_pipe).semitone - plays.from_key.semitone
    whole = octaves % 12 == 0 and octaves >= 0
    feet = feet_of_multiple(rank.multiples[0][1] * 2 ** (octaves // 12)) if whole else ""
    return PictureRow(
        stop.id, stop.name, bar, rank.family, feet, plays.from_key, plays.to_key, 0, rank.id
    )


def _is_second(organ: Organ, stop: Stop, plays: Plays) -> bool:
    """Whether a stop plays a rank elsewhere or at another pitch than where it stands."""
    rank = organ.rank(plays.rank)
    moved = rank.key_of(plays.first_pipe) != plays.from_key
    return rank.division != stop.division or moved


def _title(row: PictureRow) -> str:
    return f"{row.name} {row.feet}".strip()


def _line(row: PictureRow, low: int, high: int, width: int) -> str:
    sign = {Bar.OWN: "█", Bar.EXTENDED: "▒", Bar.BORROWED: "░"}[row.bar]
    cells = "".join(
        sign if row.low.semitone <= s + 1 and s <= row.high.semitone else " "
        for s in range(low, high + 1, 2)
    )
    end = f"{row.pipes} pipes" if row.bar is Bar.OWN else f"{row.bar} from {row.taken_from}"
    return f"  {_title(row):<{width}}  {row.family:<8} {cells} {end}"
