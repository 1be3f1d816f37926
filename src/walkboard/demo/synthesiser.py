"""Renders pipes, rooms and key holders; shares no code with `walkboard.listening`."""
