"""What the organ must be ready for.

- `events`: the calendar, from a file or typed
- `files`: iCalendar (RFC 5545) in and out; `values`: what they say; `properties`: reading them
- `music`: the music of an event, from MIDI files
- `coming`: readiness for the next events
"""
