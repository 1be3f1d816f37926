"""Exit codes besides 0 (done), 1 (done, but something is wrong) and 2 (unusable input)."""

INTERRUPTED = 130  # as in shells: 128 plus the number of SIGINT
