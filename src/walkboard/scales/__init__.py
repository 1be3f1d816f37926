"""Pitch standards, temperaments, note names, harmonic numbers and beat rates."""
