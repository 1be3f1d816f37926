"""The command line: thin; it reads the words, calls `walkboard.work`, and prints."""
