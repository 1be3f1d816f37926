"""Readings of pipes.

- `readings`: those of a visit, the best of each pipe, and those of a pipe over the years
- `pipes_now`: the newest value of each pipe, kept in a table until the organ changes
- `reading_lines`: every current reading of an organ, line by line, for tables and exports
"""
