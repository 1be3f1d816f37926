"""Studies that are too slow for the tests: `python -m bench [NAME …]`."""
