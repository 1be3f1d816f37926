"""A recording of a walk, heard on a known organ.

- `walk`: hears it; `heard_walk` is the result, `to_json` its exchange form
- `played`: a walk that the machine played
- `memory`: what is remembered of an organ's pipes
- `identity`, `names`, `unison_pairs`: which of two near unisons is which
- `pulling`: pipes that pull each other into step
"""
