"""Studies that are too slow for the tests: `python -m bench [NAME …]`."""

# Before numpy: it keeps linear algebra on one thread, as the program does. With two, a run of
# `bench mishaps` spent 7 s of processor time instead of half a second.
import walkboard  # noqa: F401
