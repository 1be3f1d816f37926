"""The instrument as frozen types: divisions, ranks, stops and pipes, and each pipe's target."""
