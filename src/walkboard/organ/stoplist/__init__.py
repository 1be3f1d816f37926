"""Reads a stop list as people write it, and turns it into a description with guesses marked."""
