"""Settings for all tests."""

from hypothesis import settings

from tests.browser import browser
from tests.commands import must, organ_file, run, walk_file

__all__ = ["browser", "must", "organ_file", "run", "walk_file"]

# Machines of CI are loaded; a deadline would measure them, not us. Derandomised, so that a red test
# stays red until it is fixed.
settings.register_profile("walkboard", deadline=None, derandomize=True)
settings.load_profile("walkboard")
