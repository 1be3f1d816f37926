"""Invented situations of a visit, with what is true of each.

- `player`: draws an organ in some state and plays it
- `scenes`: the situations: what was done, and what is true
- `wind_and_recorder`: the same where the wind or the recorder is at fault
- `noises`: speech, traffic and music, for recordings that are not a walk
"""
