"""Reads an organ description."""

from __future__ import annotations

import tomllib

from walkboard.organ.building import build_organ
from walkboard.organ.description import Description
from walkboard.organ.model import Organ


def read_organ(text: str, *, where: str = "") -> Organ:
    """The organ of a description."""
    return build_organ(Description.model_validate(tomllib.loads(text)))
