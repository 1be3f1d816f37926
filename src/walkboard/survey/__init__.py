"""Joins organ and listening: identifies the pipe of each hold, and plans what to draw and walk.

- `hear`: listens to a recording of a walk on a known organ
- `plan`: which stops to draw together, and which keys to walk
- `beats`: the worst beats of a registration or a chord
- `kinds`: the spectrum to expect from a family's pipes
"""
