"""A live session at the pipes.

- `session`: one session, bound to the book
- `flow`: the worklist in order, heard live; `values` what it shows and keeps
- `pipe`: the pipe at hand, as it was heard
- `warmth`: how warm a hand leaves a pipe, and how fast it cools
- `log`: what was heard, written line by line
- `leftovers`: recordings of sessions that were killed
"""
