"""How the answers of the first page come about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from orders.explained import buying, cover, making, origin
from orders.queries import SOON_DAYS
from orders.thanking import THANK_WITHIN_DAYS
from studio.explaining import Explained, first_of
from studio.units import System


def of_page(shown: Mapping[str, Any], system: System) -> list[Explained]:
    """Explain the tables that stand on the page, each by its first row."""
    due = shown["due"]
    lines = cover.first_short(shown["short"], system) or (
        cover.first_promise(due, due.covers) if due else ()
    )
    said = [cover.states(lines)]
    if first := first_of(shown["to_order"]):
        said.append(buying.flags((first.fibre, first.short_oven_dry_mg, first.mark[1]), system))
    if first := first_of(shown["at_hand"]):
        said.append(making.pulls(first.ref, first.wanted_good, first.pulls))
    if shown["soon"]:
        said.append(cover.use_soon(shown["soon"], SOON_DAYS, system))
    if shown["thanks"]:
        said.append(origin.waiting(None, THANK_WITHIN_DAYS))
    return said
