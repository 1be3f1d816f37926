"""Drawings of the pages as SVG.

- `rank`: cents against key; `spectrum` one pipe's partials
- `visit`: keys heard, what minutes gain, where a key is
- `calendar_strip`: events and visits on one time line
"""
