"""Sound in, holds and frequencies out. Works on arrays and expected combs, not on organs.

- `types`: what listening is asked to expect, and what it returns
- `readings`: one pipe in one hold: measured, bounded or withheld
- `sound`: a recording opened, decoded, and checked for damage
- `walk`: the holds of a recording: which key was held, and when
- `hold`: one pipe in one hold: its frequency and how sure it is
- `joint`: several pipes in one hold at once
- `measure`: every pipe of a hold, alone or together
- `live`: one pipe, or a pair, followed while it is tuned
"""
