"""What the organ must be ready for.

- `events`: the calendar, from a file or typed
- `files`: iCalendar (RFC 5545) in and out; `values`: what they say; `properties`: reading them
- `music`: an event's music, from MIDI files
- `coming`: readiness for the next events
"""
