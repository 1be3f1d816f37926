"""Where a pipe settles after a hand has touched it.

- `forecast`: from the first seconds after the hand has left
- `ways`: the ways a pipe may cool
- `cooling_fit`: settled pitch and offset for every way at once
- `learned`: what past pipes of the kind and rank showed
- `moves`: how far a hand's moves go in a rank
"""
