"""The command line: thin; it reads the words, calls `walkboard.work`, and prints."""

from walkboard.cli.main import main

__all__ = ["main"]
