"""Joins organ and listening: which pipe each hold is; and plans what to draw and walk.

- `hear`: a recording of a walk, heard on a known organ
- `plan`: which stops to draw together, and which keys to walk
- `beats`: the worst beats of a registration or a chord
- `kinds`: the spectrum to expect of a family's pipes
"""
