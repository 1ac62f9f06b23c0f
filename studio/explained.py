"""How the figures of the studio's own pages are worked out: rates, moulds, vats, units."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from studio.explaining import DEFINITION, Explained, Reader, set_on
from studio.models import Mould, Studio, Vat
from studio.units import Q, show_length, show_share, show_size, show_volume
from studio.working import Line

STUDIO = set_on("the Studio page")
FPL_131 = (
    "Definition, held against USDA Forest Products Laboratory, Research Paper FPL 131 (1970)."
)
UNITS = "NIST Special Publication 811, appendix B: exact by definition, seen as quoted."


def rates(reader: Reader, studio: Studio) -> tuple[Explained, ...]:
    """Explain what the rates of the studio do in a cost and a price."""
    pay, rooms = studio.hourly_rate_minor, studio.overhead_minor_per_hour
    hour = Explained(
        "An hour",
        "an hour costs pay + rooms, felts and moulds. Hours = (set up and clear + pulls × minutes "
        "a pull + sorting) ÷ 60, trial pulls counted.",
        STUDIO,
        (
            Line("Pay for an hour", reader.money(pay)),
            Line("Rooms, felts and moulds", reader.money(rooms)),
            Line("An hour", reader.money(pay + rooms), kind="answer"),
        ),
    )
    return (hour, _price(reader, studio), _safe(studio))


def _price(reader: Reader, studio: Studio) -> Explained:
    is_markup = studio.price_by == Studio.PriceBy.MARKUP
    rate = Decimal(studio.price_rate)
    price = 100 * (1 + rate) if is_markup else None if rate >= 1 else 100 / (1 - rate)
    cost_minor = 10_000
    lines = [Line("Markup" if is_markup else "Margin", show_share(rate), "as it stands here")]
    if price is not None:
        because = f"of a cost of {reader.money(cost_minor)}"
        lines.append(Line("Price", reader.money(price * 100), because, "answer"))
    return Explained(
        "Price from cost",
        "by markup: price = cost × (1 + rate); by margin: price = cost ÷ (1 − rate).",
        "Definition; held against a reference chart of margins and markups. The rate is the "
        "owner’s figure.",
        tuple(lines),
    )


def _safe(studio: Studio) -> Explained:
    return Explained(
        "Safe count",
        "safe count = the fewest pulls that give sheets enough with the chance set here.",
        "Negative binomial distribution, as the documentation of Boost.Math has it. The chance "
        "is the owner’s figure.",
        (Line("How sure", show_share(studio.assurance), "as it stands here"),),
    )


def mould(reader: Reader, row: Mould | None) -> tuple[Explained, ...]:
    """Explain opening and draw of a mould."""
    opening: tuple[Line, ...] = ()
    drawn: tuple[Line, ...] = ()
    if row is not None:
        size = show_size(row, system=reader.system)  # type: ignore[arg-type]
        opening = (Line("Opening", size, row.name),)
        if row.draw_um is not None:
            drawn = (Line("Draw", show_length(row.draw_um, system=reader.system), row.name),)
    return (
        Explained(
            "Size of the dry sheet",
            "side of the dry sheet = side of the opening × (1 − shrinkage of the furnish).",
            FPL_131,
            opening,
        ),
        Explained(
            "Draw",
            "draw = dry fibre in a trial sheet ÷ (area of the opening × consistency of the vat).",
            "Definition. The draw is the owner’s figure, or learned from weighed trial sheets.",
            drawn,
        ),
    )


def vat(reader: Reader, row: Vat | None) -> tuple[Explained, ...]:
    """Explain what a vat holds."""
    lines: tuple[Line, ...] = ()
    if row is not None:
        system = reader.system
        lines = (
            Line("Inside", show_size(row, system=system), row.name),  # type: ignore[arg-type]
            Line("Working depth", show_length(row.depth_um, system=system)),
            Line("Holds", show_volume(Q(row.litres, "L"), system=system), kind="answer"),
        )
    return (
        Explained(
            "What a vat holds", "holds = across × along × working depth.", DEFINITION, lines
        ),
    )


def units() -> tuple[Explained, ...]:
    """Explain how figures are turned into other units."""
    return (
        Explained(
            "Other units",
            "pounds = kilograms ÷ 0.45359237; inches = millimetres ÷ 25.4; grammage stays in "
            "g/m². What is kept is not rounded by a change of units.",
            UNITS,
        ),
    )


def kept(row: Any) -> Any:
    """Return a row that is in the database; None for a new one."""
    return None if row._state.adding else row
