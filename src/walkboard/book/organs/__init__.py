"""Organs: every version of their descriptions, and what the tuner set for them.

- `organs`: organs and their descriptions
- `weights`: weights changed by hand
"""
