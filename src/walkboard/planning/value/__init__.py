"""What a pipe out of tune costs the listener.

- `cost`: the cost of one deviation; `belief` where a pipe may stand
- `company`: what a pipe really sounds with
- `weight`: how much a pipe counts; `use` what an event plays (`use_json` its file)
- `layout`: every pipe of an organ as arrays
- `foreseen`: a drift forecast as the plan takes it
- `pipe_offsets`: where each pipe stands against its target, and what that costs
- `risk`: pipes that tuning may leave worse
"""
