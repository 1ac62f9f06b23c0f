"""What every answer carries, pages, files, refusals and style sheets alike.

It stands before everything else, so that what another middleware answers by itself passes it too.
"""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from studio import api

# The program uses none of these; a page that was tampered with should not either.
DEVICES = "camera=(), display-capture=(), geolocation=(), microphone=(), payment=(), usb=()"
# A browser may keep a page for going back to it, with what was typed; nobody in between may.
PRIVATE = "private, no-cache"
NOT_ALLOWED = 405


class Answers:
    """Keep pages from shared caches and other sites, and say in words what is not answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Add what is missing; what a view said of itself stays."""
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", DEVICES)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Cache-Control", PRIVATE)
        is_silent = not response.streaming and not response.content
        if response.status_code == NOT_ALLOWED and is_silent and not api.is_api(request):
            response.content = render_to_string("405.html")
            response.headers["Content-Length"] = str(len(response.content))
        return response
