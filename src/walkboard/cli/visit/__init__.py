"""``walkboard visit``.

- `commands`: the group; opening, correcting, closing, what to report
- `sound`: recordings taken in, and what they say
- `recordings`: relabelling and withdrawing
- `plan`: the worklist and its ticks
"""
