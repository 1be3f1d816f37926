"""The use cases: the only place that joins book, listening and sheets."""
