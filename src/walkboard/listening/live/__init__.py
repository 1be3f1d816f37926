"""Follows one pipe, alone or beside a reference, block by block while it is tuned.

- `tracker`: the tracker itself; `readings` what it returns
- `limits`: the thresholds of both
- `ring`: the last seconds of sound
- `quick`: a look at a short stretch in about a millisecond
- `steady`: a long look, with the full estimate of one hold
- `reverberation`: a high pipe while the room still fills
- `pair`: a pipe and the reference that sounds with it
- `now_and_then`: a tremulant and missing samples, checked now and then
- `recognise`: what else is sounding
"""
