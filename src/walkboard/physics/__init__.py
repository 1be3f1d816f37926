"""Air, flue pipes, reeds: what a pipe's pitch is made of, and what moves it."""
