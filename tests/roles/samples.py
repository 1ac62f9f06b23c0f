"""Arguments for every route: a real row behind each ``pk`` and ``ref``.

A new page needs nothing here where the name of its route begins with the noun of a model below
(``lot_take`` takes a lot). A route with other arguments is named in ``ARGUMENTS``, and one that
asks for more of who posts than of who reads in ``POSTING_NEEDS``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import Model
from django.urls import URLPattern, reverse

from studio import tokens
from studio.checks import every_pattern
from studio.files import desk
from studio.roles import HAND, OWNER
from tests.builders import (
    KG,
    make_client,
    make_commission,
    make_delivery,
    make_dryer,
    make_fibre,
    make_finished,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_offer,
    make_purchase,
    make_quote,
    make_sheet,
    make_source,
    make_spoilt,
    make_stocktake,
    make_studio,
    make_user,
    make_vat,
)
from tests.orders.learnings import learned_sheet
from tests.orders.trails import run

BUILDERS: dict[str, Callable[[], Model]] = {
    "client": make_client,
    "commission": make_commission,
    "countline": lambda: make_stocktake().lines.first(),
    "delivery": make_delivery,
    "dryer": make_dryer,
    "fibre": make_fibre,
    "furnish": make_furnish,
    "lot": make_lot,
    "making": make_making,
    "mould": make_mould,
    "offer": lambda: make_offer(breaks={4: 900}),
    "person": lambda: make_user(HAND),
    "movement": lambda: make_lot().movements.get(),
    "purchase": lambda: make_purchase(received=1),
    "quote": make_quote,
    "sheet": make_sheet,
    "source": make_source,
    "stocktake": make_stocktake,
    "studio": make_studio,
    "vat": make_vat,
}


def spoilt() -> dict[str, Any]:
    """Return how sheets that were entered as spoilt are named."""
    return {"pk": make_spoilt().pk}


def given() -> dict[str, Any]:
    """Return how a donor is named who gave something."""
    return {"pk": make_lot(source=make_source(kind="donor")).source_id}


def made_of_lots() -> dict[str, Any]:
    """Return how a finished making is named of which it is known what went into it."""
    return {"ref": run([(make_lot(), KG)]).ref}


def handed_in() -> dict[str, Any]:
    """Return how a list is named that was handed in."""
    told = {"slug": "lots", "name": "lots.csv", "sheet": "", "decimals": ""}
    return {"token": desk.hand_in([b"fibre"], **told).token}


def planned() -> dict[str, Any]:
    """Return how a purchase is named that has not been ordered yet."""
    return {"ref": make_purchase(is_planned=True).ref}


def learned() -> dict[str, Any]:
    """Return how a figure is named that a making shows."""
    return {"figure": "broke", "subject": f"sheet-{learned_sheet().pk}"}


def a_token() -> dict[str, Any]:
    """Return how a token of an owner is named."""
    owner = get_user_model().objects.filter(is_superuser=True).first() or make_user(OWNER)
    tokens.make(owner, "Wall display")
    return {"pk": owner.access_tokens.latest("pk").pk}


ARGUMENTS: dict[str, Callable[[], dict[str, Any]]] = {
    "api_cover_one": lambda: {"ref": make_commission().ref},
    "people_token_close": a_token,
    "you_token_close": a_token,
    "data_bring": lambda: {"slug": "lots"},
    "data_out": lambda: {"slug": "lots"},
    "data_template": lambda: {"slug": "lots"},
    "data_handed": handed_in,
    "data_progress": handed_in,
    "delivery_new": lambda: {"ref": make_commission().ref},
    "sheets_count": lambda: {"ref": make_finished().ref},
    "sheets_spoilt_back": spoilt,
    "source_card": given,
    "making_card": made_of_lots,
    "sheets_spoil": lambda: {"ref": make_finished().ref},
    "learned_figure": learned,
    "learned_accept": learned,
    "purchase_edit": planned,
    "quote_accept": lambda: {"ref": make_quote(is_issued=True).ref},
    "quote_reissue": lambda: {"ref": make_quote(is_issued=True).ref},
    "purchase_order": planned,
}
POSTING_NEEDS: dict[str, str] = {}


def routes() -> dict[str, URLPattern]:
    """Return every route of the site by its name."""
    return {pattern.name or str(pattern.pattern): pattern for pattern in every_pattern()}


def address(route: str, pattern: URLPattern) -> str:
    """Return an address of a route with a row behind it."""
    wanted = pattern.pattern.converters
    if route in ARGUMENTS:
        return reverse(route, kwargs=ARGUMENTS[route]())
    if not wanted:
        return reverse(route)
    noun = route.partition("_")[0]
    assert noun in BUILDERS, f"Say in tests/roles/samples.py what stands behind {route}."
    row = BUILDERS[noun]()
    return reverse(route, kwargs={name: getattr(row, name) for name in wanted})
