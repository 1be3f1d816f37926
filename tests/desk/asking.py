"""A browser without a server, for what a page answers."""

from starlette.applications import Starlette
from starlette.testclient import TestClient


def client_of(
    application: Starlette, home: str = "127.0.0.1", device: str = "127.0.0.1"
) -> TestClient:
    """A browser that asks an application without a server.

    Parameters
    ----------
    application : Starlette
    home : str
        The address it asks; this computer's own if not given.
    device : str
        Where the browser is.
    """
    return TestClient(
        application,
        base_url=f"http://{home}:8740",
        client=(device, 5),
        follow_redirects=False,
    )
