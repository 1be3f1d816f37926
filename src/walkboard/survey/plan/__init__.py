"""What to draw together and which keys to walk.

- `rules`: which pipes may sound in one hold
- `registrations`: which stops may be drawn together
- `cover`: the least key-holding time that reads every wanted pipe
- `key_choice`: keys as written: ``every=3``, ``C2-C5``
- `schedule`: when the machine holds each key, and the MIDI file
- `walk_plan`: the result; `to_json` its exchange form
- `make_survey`: all of these in order
"""
