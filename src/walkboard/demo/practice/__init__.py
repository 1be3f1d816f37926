"""An organ to practise on, without an organ.

- `organ`: pipes that sound and can be moved
- `hall`, `room`: the invented hall and its room
- `lesson`: the pipes to tune
"""
