"""What an out-of-tune pipe costs the listener, and how to spend a visit's minutes.

- `value`: what a pipe out of tune costs
- `choose`: which pipes to tune, with a proof
- `route`: the order of work and the way through the case
- `listen`: what to listen to, and whether an organ will be ready
- `rounds`: which organs a firm visits in which weeks, by whom
- `air_course`, `pitch`: the air during the visit, and where the flues are in it
- `request`, `what_if`: the request for a plan, and plans of one state under changing requests
- `pairs`: pipes that pull each other, tuned together
- `with_walks`, `between_references`: choice and walk together; a bound between the references
- `complete`: a complete tuning, over one or more days
- `plan`, `to_plan`, `items`, `reasons`: the result, its lines and their reasons; `to_json` its JSON
"""
