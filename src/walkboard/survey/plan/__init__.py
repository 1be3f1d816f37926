"""Plans what to draw together and which keys to walk.

- `rules`: which pipes may sound in one hold
- `registrations`: which stops may be drawn together
- `cover`: reads every wanted pipe in the least key-holding time
- `key_choice`: key choices as written: ``every=3``, ``C2-C5``
- `schedule`: when the machine holds each key, and the MIDI file
- `walk_plan`: the result; `to_json` its JSON form
- `make_survey`: all of these in order
"""
