"""Recordings, from import to withdrawal.

- `recordings`: the recordings of a visit, what was heard in each, and their labels
- `taking_in`: importing, relabelling, withdrawing, restoring files
- `walks`: stores a heard walk as rows and reads it back unchanged
"""
