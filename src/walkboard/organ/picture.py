"""The organ at a glance: each rank with its compass, and stops that borrow or extend it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from walkboard.organ.kinds import ChestLayout, PipeOrder
from walkboard.organ.model import Division, Organ, Plays, Rank, Stop
from walkboard.scales.harmonics import feet_of_multiple
from walkboard.scales.keys import Key

_FRONT = "▀"
ORDER_WORDS = {
    PipeOrder.CHROMATIC: "chromatic",
    PipeOrder.SIDES: "C and C♯ sides, large outside",
    PipeOrder.SIDES_INWARD: "C and C♯ sides, large inside",
    PipeOrder.MINOR_THIRDS: "minor thirds",
    PipeOrder.MAJOR_THIRDS: "major thirds",
}


class Bar(StrEnum):
    """What a bar of the picture represents."""

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
        ``open``, ``stopped``, ``chimney`` or ``reed``; several separated by a slash.
    feet : str
        Feet at its lowest pipe.
    low, high : Key
        Its lowest and highest key.
    pipes : int
        0 for a stop without pipes of its own.
    taken_from : str
        Id of the rank that it plays; empty for a rank.
    layout : ChestLayout
        Where its pipes are on the chest; empty for a stop without pipes of its own.
    parts : tuple of (Key, str)
        If its pipes are not all built alike: the first key of each part, and its family.
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
    layout: ChestLayout = field(default_factory=ChestLayout)
    parts: tuple[tuple[Key, str], ...] = ()


@dataclass(frozen=True, slots=True)
class PictureChest:
    """A chest and its ranks."""

    id: str
    rows: tuple[PictureRow, ...]


@dataclass(frozen=True, slots=True)
class PictureDivision:
    """A division with its chests, and the stops it borrows from elsewhere."""

    division: Division
    chests: tuple[PictureChest, ...]
    elsewhere: tuple[PictureRow, ...]

    def rows(self) -> Iterable[PictureRow]:
        """Every row, chest by chest."""
        for chest in self.chests:
            yield from chest.rows
        yield from self.elsewhere


def picture(organ: Organ) -> tuple[PictureDivision, ...]:
    """Where everything is in an organ, division by division.

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
                tuple(PictureChest(id_, _by_board(rows)) for id_, rows in chests.items()),
                tuple(elsewhere),
            )
        )
    return tuple(found)


def _by_board(rows: list[PictureRow]) -> tuple[PictureRow, ...]:
    """Rows from the walkboard inward if toe boards are described, else as described."""
    far = len(rows) + 1
    return tuple(sorted(rows, key=lambda row: row.layout.toe_board or far))


def picture_text(organ: Organ) -> str:
    """The picture in plain text, one column per two keys."""
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
    families = dict.fromkeys(part.family for part in rank.parts_used)
    return PictureRow(
        rank.id,
        rank.name,
        Bar.OWN,
        "/".join(families),
        feet_of_multiple(rank.multiples[0][1]),
        rank.keys[0],
        rank.keys[-1],
        rank.pipes,
        layout=rank.chest_layout,
        parts=tuple((part.from_key, part.family.value) for part in rank.parts_used)
        if rank.parts
        else (),
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
    """Whether a stop plays a rank of another division or at another pitch."""
    rank = organ.rank(plays.rank)
    moved = rank.key_of(plays.first_pipe) != plays.from_key
    return rank.division != stop.division or moved


def _layout_words(layout: ChestLayout) -> list[str]:
    """The known layout: ``board 2``, ``C and C♯ sides``, ``front C2 to B2``, ``4 dumb``."""
    words = [] if layout.toe_board is None else [f"board {layout.toe_board}"]
    words += [] if layout.order is None else [ORDER_WORDS[layout.order]]
    if layout.front is not None:
        words.append(f"front {layout.front[0].name} to {layout.front[1].name}")
    return words + ([f"{layout.dumb} dumb"] if layout.dumb else [])


def _title(row: PictureRow) -> str:
    return f"{row.name} {row.feet}".strip()


def _line(row: PictureRow, low: int, high: int, width: int) -> str:
    sign = {Bar.OWN: "█", Bar.EXTENDED: "▒", Bar.BORROWED: "░"}[row.bar]
    cells = "".join(
        sign if row.low.semitone <= s + 1 and s <= row.high.semitone else " "
        for s in range(low, high + 1, 2)
    )
    end = f"{row.pipes} pipes" if row.bar is Bar.OWN else f"{row.bar} from {row.taken_from}"
    front = row.layout.front
    if front is not None:  # pipes in the case front are drawn as such
        low_front, high_front = (key.semitone for key in front)
        cells = "".join(
            _FRONT if cell == sign and low_front <= s + 1 and s <= high_front else cell
            for s, cell in zip(range(low, high + 1, 2), cells, strict=True)
        )
    end = ", ".join([end, *_layout_words(row.layout)])
    return f"  {_title(row):<{width}}  {row.family:<8} {cells} {end}"
