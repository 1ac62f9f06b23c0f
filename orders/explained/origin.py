"""What may be said of the fibre in a making, and who waits to be thanked for it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fibres.models import Source
from orders.explained import sources
from orders.explained.choosing import named
from orders.provenance import Part
from studio.explaining import COMMON, DEFINITION, Explained
from studio.units import System, show_mass, show_number, show_share
from studio.working import Line


def recycled(lines: Sequence[Line] = ()) -> Explained:
    """Say what counts as recycled; ``lines`` is the sum of the making."""
    return Explained(
        "Recycled share",
        "recycled = (pre-consumer + post-consumer) ÷ all usable fibre that was issued, by mass, "
        "rounded down to a whole percent. Own broke and heel weigh in the whole and do not count.",
        sources.RECYCLED,
        named(lines, "Fibre in the sheets", "Recycled"),
    )


def of_makings(whence: Sequence[Any]) -> list[Explained]:
    """Say it of the first making whose fibre is known; nothing where none is."""
    return [recycled(whence[0].lines)] if whence else []


def share_of_a_lot() -> Explained:
    """Say how much of a making came from a lot or a donor."""
    return Explained(
        "What a gift became",
        "its share of a making = usable fibre issued from it ÷ all usable fibre issued. Fibre "
        "that came back as broke or heel is followed into the makings after it. Sheets = all "
        "sheets of those makings.",
        DEFINITION,
    )


def given(first: str, gave: str) -> Explained:
    """Say how much a donor on the list of thanks gave; ``gave`` is that in the page's words."""
    return Explained(
        "What was given",
        "given = oven-dry fibre of all lots that came from the donor since it was last thanked; "
        "oven-dry = mass as it came × (1 − moisture).",
        sources.MOISTURE,
        (Line(f"Given by {first}", gave),) if gave else (),
    )


def given_as_it_came(gave: str) -> Explained:
    """Say the same on a card of thanks, where masses stand as they came."""
    return Explained(
        "What was given",
        "given = masses of the lots as they came, their water included, added up fibre by fibre.",
        sources.COUNTED,
        (Line("Given", gave),),
    )


def waiting(count: int | None, days: int) -> Explained:
    """Say who stands on the list of thanks; no count where the page words it already."""
    lines = [Line("Days", show_number(days))]
    if count is not None:
        lines.append(Line("Donors who wait", show_number(count)))
    return Explained(
        "Who waits",
        f"A donor waits once a gift has lain for more than {days} days with no thanks since it "
        "came.",
        COMMON,
        tuple(lines),
    )


def on_a_card(drawn: Sequence[Part], system: System) -> Explained:
    """Say how the fibre on a card is told, by the first lot of the making."""
    first = drawn[0]
    told = first.lot.fibre.name
    if first.lot.source.kind == Source.Kind.DONOR:
        mass = show_mass(first.drawn.as_is_mg if first.drawn else 0, system=system)
        line = Line(told, mass, "as it was weighed out")
    else:
        line = Line(told, show_share(first.share, places=0), "of the fibre")
    return Explained(
        "Fibre on the card",
        "share of a fibre = usable fibre issued of it ÷ all usable fibre issued, in whole "
        "percent. A gift stands with the mass weighed out of it, its water included.",
        DEFINITION,
        (line,),
    )


def cards(count: int) -> Explained:
    """Say how many cards fit a page."""
    return Explained(
        "Cards on a page",
        "8, 4 or 1 cards: as many as leave room for the letters of the card, those of the name "
        "counted three times.",
        "Our own trials on A4 and letter paper.",
        (Line("Cards", show_number(count)),),
    )


def rows_of_a_file(said: str) -> Explained:
    """Say how the rows of a list that is brought in are counted; ``said`` words the count."""
    return Explained(
        "Rows of the file",
        "Every row is held against what is here: entered where nothing here is called so, changed "
        "or replaced where it differs, unchanged where it says nothing new.",
        sources.COUNTED,
        (Line("Rows", said),) if said else (),
    )
