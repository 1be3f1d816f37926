"""One pipe in one hold: its frequency, how sure it is, its level, and what is wrong with it.

- `gaps`: where the recorder dropped samples
- `place`: where exactly a comb of partials is, near where it is expected
- `chirp`: spectra at any spacing
- `spectrum`: one FFT of the hold, and the slow envelope of every partial
- `movement`: how a blown pipe and its room move
- `estimate`: one phase course for all partials and channels
- `average`: the mean frequency over what may have moved, without the room's delay
- `shake`: what fast wind shake leaves in the mean
- `beats`: the beat of two pipes that sounded together
- `measure`: all of these in order, for a pipe that sounds alone
"""
