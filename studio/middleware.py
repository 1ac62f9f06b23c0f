"""What every request passes: the demo's owner, the first run, and the gate of needs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model, login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.http.request import split_domain_port
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.urls import reverse

from studio import roles
from studio.api import is_api
from studio.context import asked_by
from studio.files.limits import MOST_BODY, megabytes

LOOPBACK = {"127.0.0.1", "::1"}
LOOPBACK_HOSTS = {"127.0.0.1", "localhost", "[::1]"}
# What a server in between adds: whoever asked it may sit anywhere.
PASSED_ON = ("HTTP_X_FORWARDED", "HTTP_FORWARDED", "HTTP_X_REAL_IP", "HTTP_VIA")
Response = Callable[[HttpRequest], HttpResponse]


def is_local(request: HttpRequest) -> bool:
    """Tell whether the caller sits at this machine and asked for it by a local name."""
    host, _ = split_domain_port(request.get_host())
    forwarded = any(name.startswith(PASSED_ON) for name in request.META)
    return request.META.get("REMOTE_ADDR") in LOOPBACK and host in LOOPBACK_HOSTS and not forwarded


class LargestBody:
    """Refuse what is too large by the length it tells, before any of it is read."""

    def __init__(self, get_response: Response) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer with the limit, or pass the request on."""
        length = request.META.get("CONTENT_LENGTH") or "0"
        if length.isdecimal() and len(length) < 20 and int(length) <= MOST_BODY:
            return self.get_response(request)
        context = {"limit": megabytes(MOST_BODY)}
        return HttpResponse(render_to_string("413.html", context), status=413)


class DemoOwner:
    """Sign a local caller in as the demo's owner; does nothing outside demo mode."""

    def __init__(self, get_response: Response) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Sign a local caller in, if the demo is running."""
        is_nobody = not request.user.is_authenticated and not is_api(request)
        if settings.DEMO and is_nobody and is_local(request):
            owner = get_user_model().objects.filter(is_superuser=True).first()
            if owner is not None:
                login(request, owner, backend="django.contrib.auth.backends.ModelBackend")
        return self.get_response(request)


class FirstRun:
    """Lead to the page that makes the owner's account while there is none."""

    def __init__(self, get_response: Response) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Lead on to the first run, if nobody has an account."""
        if not request.user.is_authenticated and not is_api(request):
            first_run = reverse("first_run")
            wanted = request.path.startswith(first_run) or request.path.startswith(
                f"/{settings.STATIC_URL.strip('/')}/"
            )
            if not wanted and not get_user_model().objects.exists():
                return redirect(first_run)
        return self.get_response(request)


class OwnUnits:
    """Word masses and lengths in the units that a person chose, refusals of services included."""

    def __init__(self, get_response: Response) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer as the person who asks."""
        with asked_by(request):
            return self.get_response(request)


class Gate:
    """Refuse every view that does not say what it needs, or needs what the role lacks."""

    def __init__(self, get_response: Response) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; the gate stands before each view."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: Any, kwargs: Any
    ) -> HttpResponse | None:
        """Refuse before the view is called."""
        need = roles.need_of(view)
        if not need or not roles.can(request.user, need):
            raise PermissionDenied
        return None
