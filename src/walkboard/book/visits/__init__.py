"""Visits and their work.

- `visits`: opening, conditions and notes, corrections, closing
- `plans`: plans and the state of their worklists
- `ticks`: progress of a worklist, from several devices at once
- `settlings`: how pipes settled after being touched
- `summaries`: counts of a visit's records, without reading them
"""
