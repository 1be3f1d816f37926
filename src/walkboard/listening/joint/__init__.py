"""Several pipes in one hold, measured together.

- `groups`: which partials of the pipes fall together; `bands` cuts them out, `stacks`
  holds them as arrays
- `courses`: the current estimate of the pipes, iteration by iteration
- `fit`, `model`: amplitudes and phase courses, from all groups at once
- `search`: where a pipe is among others already known
- `stages`: pipe by pipe, then all together
- `accept`: the rules by which a pipe's value is accepted
- `labels`, `names`: which of two near unisons is which; `beats` their beat
- `bounds`: how far off a hidden pipe can be at most
- `measure`: all of these in order
"""
