"""What the venue has to do with: faults, events, the next visit, contacts, photographs, air.

- `records`: the records of the venue as frozen types
- `venue`: the next visit, contacts, and who fixes which fault
- `faults`: faults from report to fix
- `events`: what the organ must be ready for
- `photographs`: photographs, their rights and what they show
- `air_logs`: logged air, one row per file
"""
