"""Listens to a recording of a walk on a known organ.

- `walk`: hears it; `heard_walk` is the result, `to_json` its exchange form
- `played`: a walk that the machine played
- `memory`: what is remembered of an organ's pipes
- `holds`: measures the holds of a walk
- `coupled`: a stop that sounds but was not stated, measured with the others
- `weigh`, `odd_holds`: what sounded, and which holds are not trusted
- `identity`, `names`, `unison_pairs`: which of two near unisons is which
- `pulling`: pipes that pull each other into step
"""
