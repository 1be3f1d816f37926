"""Reads a stop list as people write it, and makes a description of it with every guess marked."""
