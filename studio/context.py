"""What every page shows of the house: its name, its colours, its rooms, and who is here."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

from studio import roles
from studio.models import Studio
from studio.units import System

_asking: ContextVar[HttpRequest | None] = ContextVar("asking", default=None)

# Word, route, and the start of the paths that belong to it.
ROOMS = (
    ("Today", "today", ()),
    ("Store", "store", ("/store/", "/fibres/", "/lots/", "/scrap/", "/stocktakes/")),
    ("Sources", "sources", ("/sources/", "/purchases/")),
    ("Furnishes", "furnishes", ("/furnishes/",)),
    ("Sheets", "sheets", ("/sheets/",)),
    ("Commissions", "commissions", ("/commissions/", "/quotes/", "/clients/", "/deliveries/")),
    ("Making", "makings", ("/makings/", "/learned/")),
    ("Reorder", "reorder", ("/reorder/",)),
    ("Bench", "bench", ("/bench/",)),
    ("Studio", "studio", ("/studio/", "/moulds/", "/people/")),
)


@dataclass(frozen=True)
class House:
    """What the base template needs to know."""

    name: str
    theme: str
    units: str
    currency: str
    role: str
    sees_money: bool
    user: Any
    demo: bool
    sections: list[tuple[str, str, bool]]


def current_studio(request: HttpRequest) -> Studio:
    """Return the studio in the units of whoever asks, read once a request; never to be saved."""
    known = getattr(request, "_studio", None)
    if known is None:
        user = getattr(request, "user", None)
        known = request._studio = Studio.seen_by(user)  # type: ignore[attr-defined]
    return known


@contextmanager
def asked_by(request: HttpRequest | None) -> Iterator[None]:
    """Let services word masses for whoever asks, as the framework does with time zones.

    None is for what others will read too: it is in the studio's own units.
    """
    token = _asking.set(request)
    try:
        yield
    finally:
        _asking.reset(token)


def units_here(studio: Studio | None = None) -> System:
    """Return the units of the person whose page is being made; a command has the studio's."""
    request = _asking.get()
    found = current_studio(request) if request is not None else studio or Studio.current()
    return "US" if found.units == Studio.Units.US else "metric"


def _sections(path: str) -> list[tuple[str, str, bool]]:
    found = []
    for word, route, starts in ROOMS:
        try:
            address = reverse(route)
        except NoReverseMatch:
            continue
        found.append((address, word, path == address or path.startswith(starts)))
    return found


def _house(request: HttpRequest) -> House:
    studio = current_studio(request)
    user = getattr(request, "user", None)
    role = roles.role_of(user)
    return House(
        name=studio.name,
        theme=studio.theme,
        units=studio.units,
        currency=studio.currency,
        role=role,
        sees_money=bool(role) and roles.can(user, "money"),
        user=user,
        demo=settings.DEMO,
        sections=_sections(request.path) if role else [],
    )


def house(request: HttpRequest) -> dict[str, Any]:
    """Put the house into a template's context; read only if the template asks."""
    return {"house": SimpleLazyObject(lambda: _house(request))}
