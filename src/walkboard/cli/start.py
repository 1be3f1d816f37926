"""Where ``walkboard`` starts: before anything slow is loaded, so that Ctrl-C is quiet from here on.

Python itself needs a twentieth of a second before it comes here.
"""

from __future__ import annotations

import os
import sys

from walkboard.cli.exit_codes import INTERRUPTED


def start() -> None:
    """Run the command line."""
    try:
        open_streams()
        from walkboard.cli.main import main

        main()
    except KeyboardInterrupt:
        print("Interrupted; what was stored before is safe.", file=sys.stderr)
        sys.exit(INTERRUPTED)


def open_streams() -> None:
    """Open input, output and errors where the caller has closed them (as ``>&-`` does).

    Otherwise the next file opened, perhaps a recording, would get their number, and what a library
    prints would be written into it.
    """
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(number)
    for name in ("stdin", "stdout", "stderr"):
        if getattr(sys, name) is None:
            mode = "r" if name == "stdin" else "w"
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
