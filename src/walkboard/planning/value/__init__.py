"""What an out-of-tune pipe costs the listener.

- `cost`: the cost of one deviation; `belief` where a pipe may be
- `company`: what a pipe really sounds with
- `weight`: how much a pipe counts; `use` what an event plays (`use_json` its file)
- `layout`: every pipe of an organ as arrays
- `foreseen`: a drift forecast as input to the plan
- `pipe_offsets`: each pipe's deviation from its target, and its cost
- `risk`: pipes that tuning may make worse
"""
