"""Settings for all tests."""

import os

import pytest
from hypothesis import settings

from tests.browser import browser
from tests.commands import must, organ_file, run, walk_file
from tests.postgresql import postgresql

__all__ = ["browser", "must", "organ_file", "postgresql", "run", "walk_file"]

IS_ON_SERVER = os.environ.get("WALKBOARD_TESTS_ON") == "postgresql"
if IS_ON_SERVER:
    from tests.on_postgresql import books_on_server, no_databases_left

    __all__ += ["books_on_server", "no_databases_left"]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """A book on a server has no file to look into."""
    if not IS_ON_SERVER:
        return
    left = [item for item in items if item.get_closest_marker("sqlite") is None]
    config.hook.pytest_deselected(items=[item for item in items if item not in left])
    items[:] = left


# Machines of CI are loaded; a deadline would measure them, not us. Derandomised, so that a red test
# stays red until it is fixed.
settings.register_profile("walkboard", deadline=None, derandomize=True)
settings.load_profile("walkboard")
