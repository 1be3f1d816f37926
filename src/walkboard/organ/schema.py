"""The JSON Schema of the organ description, for editors and other programs.

It checks one field at a time; only `read_organ` checks what one table says about another. The file
``organ.schema.json`` beside this module is what ``python -m walkboard.organ.schema`` prints.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from walkboard.organ.description import Description

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """The schema as plain values."""
    made = _plain(Description.model_json_schema(by_alias=True))
    return {"$schema": DRAFT, "title": "Organ description, format 1", **made}


def schema_text() -> str:
    """The schema as JSON text, ending in a newline."""
    return json.dumps(schema(), ensure_ascii=False, indent=2) + "\n"


def _plain(node: Any) -> Any:
    """Remove titles made from names, and null, which TOML does not have."""
    if isinstance(node, list):
        return [_plain(part) for part in node]
    if not isinstance(node, dict):
        return node
    kept = {
        key: {name: _plain(inner) for name, inner in value.items()}
        if key in {"properties", "$defs"}
        else _plain(value)
        for key, value in node.items()
        if key != "title" and not (key == "default" and value is None)
    }
    if "patternProperties" in kept:
        kept["additionalProperties"] = False  # a table keyed by pipe number has nothing else in it
    ways = kept.get("anyOf")
    if ways is not None and {"type": "null"} in ways:
        rest = [way for way in ways if way != {"type": "null"}]
        del kept["anyOf"]
        kept = {**rest[0], **kept} if len(rest) == 1 else {**kept, "anyOf": rest}
    return kept


if __name__ == "__main__":
    sys.stdout.write(schema_text())
