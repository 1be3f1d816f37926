"""The command line: thin; it reads arguments, calls `walkboard.work`, and prints."""
