"""What to listen to, and whether an organ will be ready.

- `worth`: what hearing a pipe is worth to the plan
- `keys`: which keys of which registrations to hold
- `quick_look`: the few keys that say most about the organ
- `readiness`: how the organ will be at an event
"""
