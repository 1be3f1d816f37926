"""Drawings of the pages as SVG.

- `rank`: cents against key; `spectrum` one pipe's partials
- `visit`: keys heard, what minutes buy, where a key lies
- `calendar_strip`: events and visits on one line of time
"""
