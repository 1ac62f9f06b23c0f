"""How the figures of one commission come about: fibre, cover, days, money and sheets made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from orders.explained import choosing, cost, cover, origin, sheets
from studio.explaining import Explained

MOST = 5


def of_page(shown: Mapping[str, Any], studio: Any) -> list[Explained]:
    """Explain what the page of a commission shows, what is asked first before the rest."""
    said = [sheets.pulls(shown["counted"])] if shown["counted"] else []
    if shown["answer"]:
        said.append(cover.of_each_fibre(shown["cover_table"], studio.units))
        said.append(cover.states())
    if costed := shown.get("cost"):
        said.append(cost.cost_and_price(costed.price_by, shown["cost_lines"]))
    if shown["kept_figures"]:
        said.append(cover.kept(shown["kept"]))
    if shown["finish"]:
        said.append(cover.days(shown["finish"].lines))
    if shown.get("actual"):
        said.append(cost.came(shown["actual_table"], studio.currency))
    return [*said, *origin.of_makings(shown["whence"])][:MOST]


def of_list(table: Any) -> list[Explained]:
    """Explain the marks of a list of commissions, by its first promise."""
    return [cover.states(cover.first_promise(table, table.covers))]


def of_form(shown: Mapping[str, Any], price_by: str) -> list[Explained]:
    """Explain the panel beside the form; ``price_by`` is empty for who sees no money."""
    lines = choosing.sum_shown(shown)
    asked = choosing.named(lines, "Good sheets asked for", "Good sheets covered")
    said = [cover.states(asked), sheets.pulls()]
    return [*said, cost.cost_and_price(price_by, lines)] if price_by else said
