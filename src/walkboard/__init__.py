"""Walkboard: hears a pipe organ and spends a tuning visit's minutes where they count."""

__version__ = "0.2.0"
