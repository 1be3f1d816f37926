"""One thing that a browser sets: idempotent, with an id, sent until it is in the book."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict, Field


class Setting(BaseModel):
    """One thing that a browser sets.

    Attributes
    ----------
    uid : str
        The same for every time that it is sent.
    kind : str
        Names the page that keeps it.
    at : datetime
        When it was made, by the clock of the device.
    body : dict
        As the page's script made it; check it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    uid: str = Field(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")
    kind: str = Field(max_length=40)
    at: datetime
    body: dict[str, Any]
