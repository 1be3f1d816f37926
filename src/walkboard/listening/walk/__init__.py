"""Finds the holds of a walk: which key was held, and when.

- `features`: the spectral peaks kept of every 40 ms; `bands` reads them
- `tracks`: single partials of single holds, without knowing any key
- `events`: partials that sounded together
- `naming`: how well each key explains an event
- `order`: the sequence of keys that makes sense
- `spans`: when a named key was down
- `holds`: all of these in order
"""
