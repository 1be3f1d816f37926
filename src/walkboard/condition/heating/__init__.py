"""How warm the organ's air will be: heat-ups found in logged air, and forecasts that are scored.

- `heat_ups`: where in a log the room was being heated
- `fit`: the course that the heat-ups of a building share
- `forecast`: the air at an event with its spread, from past errors; and whether it can be reached
- `between`: what the air does between divisions
"""
