"""Reads an organ description: text in; a checked `Organ`, or all problems at once, out."""

from __future__ import annotations

from walkboard.errors import DescriptionError
from walkboard.organ.building import build_organ
from walkboard.organ.checking import check_description
from walkboard.organ.findings import Findings
from walkboard.organ.model import Organ
from walkboard.organ.shape import check_shape
from walkboard.organ.syntax import parse_toml


def read_organ(text: str, *, where: str = "") -> Organ:
    """The organ of a description.

    Parameters
    ----------
    text : str
        The description in TOML, as ``docs/organ-description.md`` explains it.
    where : str
        The file's name, for the error.

    Raises
    ------
    DescriptionError
        With every problem of the description, in order of line. If the text is not TOML there is
        one problem, because the rest cannot be read yet.
    """
    plain = text.removeprefix("\ufeff")  # some editors start a file with this mark
    raw = parse_toml(plain, where=where)
    findings = Findings(raw)
    draft = check_shape(raw, findings)
    check_description(draft, findings)
    if findings or draft.whole is None:
        raise DescriptionError(findings.problems(plain), where=where)
    return build_organ(draft.whole)
