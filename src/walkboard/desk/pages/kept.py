"""What a browser shows instead of a page that it cannot have: which pages it has kept itself."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render


def kept(request: Request) -> Response:
    """The browser itself keeps this page, and fills it with what else it has kept."""
    return render(request, "kept.html")


PAGE = Page("kept", (Door("/kept", kept, Permission.ENTER),))
