"""Entry point of ``walkboard``."""


def main() -> None:
    """Run the command line."""
    raise NotImplementedError
