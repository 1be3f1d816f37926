"""Logged air: read from any logger's CSV, its clock checked, charted and forecast."""
