"""What a pipe out of tune costs the listener, and how to spend a visit's minutes."""
