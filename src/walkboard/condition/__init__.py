"""The organ's state: each division's shift and air, and its temperament.

- `gather`: the readings of many walks as one offset of each pipe
- `kinds`: what the pipes of a rank can show: air, temperament, or neither
- `location`, `shift`: where a division is as a whole, and the air that implies
- `temperament`, `candidates`: the temperament it is tuned to
- `assess`, `state`: all of these at once, and the result; `to_json` its JSON
- `drift`: how pipes move over the visits
- `settling`: where a pipe settles after a hand has touched it
- `mixtures`: mixtures of a few normals
"""
