"""Joins organ and listening: which key and which pipe each hold is, and what was missed."""
