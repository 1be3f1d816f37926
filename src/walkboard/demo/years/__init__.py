"""How an invented organ moves over the years.

- `course`: the organ from visit to visit
- `state`: each pipe's pitch
- `habits`: how each kind of pipe behaves
- `weather`: the air over the seasons
"""
