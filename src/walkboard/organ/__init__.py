"""The instrument as frozen types: its divisions, ranks, stops and pipes, and each pipe's target."""
