"""Finds the holds of a walk: which key was held, and when.

- `features`: the spectral peaks kept for every 40 ms; `bands` reads them
- `tracks`: single partials of single holds, without knowing any key
- `events`: partials that sounded together
- `naming`: how well each key explains an event
- `order`: the most plausible sequence of keys
- `spans`: when a named key was down
- `holds`: all of these in order
"""
