"""Scripts that make data and documents; never imported by the program."""
