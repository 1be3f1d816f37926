"""Joins organ and listening: which pipe each hold is; and plans what to draw and walk."""
