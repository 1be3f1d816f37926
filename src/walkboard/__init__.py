"""Walkboard: hears a pipe organ and spends a tuning visit's minutes where they count."""

import os

__version__ = "0.2.0"

# Before anything imports numpy: the matrices here are small, and on a busy machine the threads of
# linear algebra spend ten times as long waiting for each other as computing.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
