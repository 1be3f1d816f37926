"""JSON and TOML that anyone may have written: whatever is wrong with it is a ValueError.

Python's readers raise RecursionError for what is nested thousands of times.
"""

from __future__ import annotations

import json
import tomllib
from typing import Any

_TOO_DEEP = "it is nested too deeply"


def json_value(text: str | bytes) -> Any:
    """The value that JSON describes.

    Raises
    ------
    ValueError
        If it is not JSON.
    """
    try:
        return json.loads(text)
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None


def toml_table(text: str) -> dict[str, Any]:
    """The table that TOML describes.

    Raises
    ------
    ValueError
        If it is not TOML.
    """
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None
