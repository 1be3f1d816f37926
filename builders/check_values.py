"""Makes tests/published/check_values.json from a list of published values, row by row, no loss.

Run as ``python builders/check_values.py LIST.json``. The list is a JSON array of rows with the
fields below. A row whose tolerance would let any value pass is refused, so is a double id.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

FIELDS = ("id", "quantity", "inputs", "value", "unit", "tolerance", "source", "tag", "basis")
TARGET = Path(__file__).resolve().parent.parent / "tests" / "published" / "check_values.json"


def checked(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows, after a look at each."""
    seen: set[str] = set()
    for row in rows:
        if tuple(sorted(row)) != tuple(sorted(FIELDS)):
            raise SystemExit(f"{row.get('id')}: fields {sorted(row)}, expected {sorted(FIELDS)}")
        if row["id"] in seen:
            raise SystemExit(f"{row['id']} stands twice")
        seen.add(row["id"])
        if not row["source"].strip():
            raise SystemExit(f"{row['id']} names no source")
        values = row["value"] if isinstance(row["value"], list) else [row["value"]]
        largest = max(abs(float(value)) for value in values)
        if not 0 <= row["tolerance"] < largest:
            raise SystemExit(f"{row['id']}: tolerance {row['tolerance']} for values to {largest}")
    return rows


def written(rows: list[dict[str, Any]]) -> str:
    """One row a line, fields in one order, so that a change shows as one line."""
    lines = (
        json.dumps({name: row[name] for name in FIELDS}, ensure_ascii=False)
        for row in checked(rows)
    )
    return "[\n" + ",\n".join(lines) + "\n]\n"


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    rows = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    TARGET.write_text(written(rows), encoding="utf-8")
    print(f"{len(rows)} rows in {TARGET}")
