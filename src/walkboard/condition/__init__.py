"""The state that the organ stands in: each division's shift and air, and its temperament."""
