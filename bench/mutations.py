"""How many spoiled descriptions and stop lists break the reader: none may."""

from __future__ import annotations

import traceback
from collections import Counter

from tests.organ.mutations import (
    spoiled_description,
    spoiled_list,
    use_whatever_is_listed,
    use_whatever_is_read,
)

DESCRIPTIONS, LISTS = 22_300, 4_000


def main(scale: float = 1.0) -> None:
    broken: Counter[str] = Counter()
    right = 0
    for number in range(int(DESCRIPTIONS * scale)):
        try:
            right += use_whatever_is_read(spoiled_description(number))
        except Exception:
            broken[f"description: {traceback.format_exc().splitlines()[-1][:90]} ({number})"] += 1
    for number in range(int(LISTS * scale)):
        try:
            use_whatever_is_listed(spoiled_list(number))
        except Exception:
            broken[f"list: {traceback.format_exc().splitlines()[-1][:90]} ({number})"] += 1
    tried = int(DESCRIPTIONS * scale)
    print(f"{tried} spoiled descriptions, {right} of them still right")
    print(f"{int(LISTS * scale)} spoiled stop lists")
    print(f"{sum(broken.values())} broke the reader")
    for what, count in broken.most_common(20):
        print(f"  {count:5} {what}")


if __name__ == "__main__":
    main()
