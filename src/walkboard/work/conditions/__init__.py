"""Logged air: read from the CSV of any logger, checked against the clock, charted and forecast."""
