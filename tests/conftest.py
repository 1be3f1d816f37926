"""Settings for all tests."""

import os

from hypothesis import settings

from tests.browser import browser
from tests.commands import must, organ_file, run, walk_file
from tests.postgresql import postgresql

__all__ = ["browser", "must", "organ_file", "postgresql", "run", "walk_file"]

if os.environ.get("WALKBOARD_TESTS_ON") == "postgresql":
    from tests.on_postgresql import books_on_server, no_databases_left

    __all__ += ["books_on_server", "no_databases_left"]

# Machines of CI are loaded; a deadline would measure them, not us. Derandomised, so that a red test
# stays red until it is fixed.
settings.register_profile("walkboard", deadline=None, derandomize=True)
settings.load_profile("walkboard")
