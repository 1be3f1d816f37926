"""A live session at the pipes.

- `session`: one session, bound to the book
- `flow`: the worklist in order, followed live; `values` what it shows and keeps
- `lingering`: a pipe called done that keeps sounding
- `pipe`: the current pipe and what has been heard of it
- `warmth`: how warm a hand leaves a pipe, and how fast it cools
- `log`: everything heard, written line by line
- `leftovers`: recordings of sessions that were killed
"""
