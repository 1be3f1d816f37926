"""The order of work and the way through the case.

- `order`: which group of pipes comes first
- `minutes`: minutes to tune a pipe and to reach it
- `ways`: minutes from chest to chest
- `shortest`: the shortest way through the stints of a visit
- `with_choice`: choice and way, adjusted to each other
"""
