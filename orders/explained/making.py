"""What a making takes, how its vat is kept, and where its fibre went."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from fibres.calc import moisture as wet
from orders.calc.makingsheet import MakingSheet
from orders.explained import sources
from orders.explained.choosing import named
from orders.explained.cost import came
from orders.explained.origin import of_makings
from orders.explained.sheets import pulls as usual_pulls
from studio.explaining import COMMON, DEFINITION, Explained
from studio.units import System, show_length, show_mass, show_number, show_share, show_volume
from studio.working import Line


def pulls(ref: str = "", wanted: int = 0, formed: int = 0) -> Explained:
    """Say how many pulls a making forms; ``ref`` names the one on the page."""
    lines = (
        Line(f"Good sheets wanted, {ref}", show_number(wanted)),
        Line("Pulls", show_number(formed), "", "answer"),
    )
    return Explained(
        "Pulls",
        "pulls = the fewest that give the good sheets wanted with the studio’s assurance, unless "
        "another number was given. Good sheets on average = pulls × sheets per pull × good share, "
        "rounded down.",
        usual_pulls().source,
        lines if ref else (),
    )


def good_made(ref: str = "", good: str = "") -> Explained:
    """Say what is counted as made, by the first making of a list that is finished."""
    return Explained(
        "Good made",
        "good made = good sheets counted at the vat when the making was finished, whether they "
        "are here still or not.",
        sources.COUNTED,
        (Line(f"Good made, {ref}", good),) if good else (),
    )


def to_prepare(lines: Sequence[Line] = ()) -> Explained:
    """Say how much fibre comes out of preparation for it."""
    return Explained(
        "Fibre to prepare",
        "fibre to prepare = (pulls + trial pulls) × fibre in one pull ÷ what stays on the mould + "
        "what keeps the vat full. That is litres of the vat × its consistency, or the usual heel "
        "where no vat is chosen.",
        f"{DEFINITION} That a vat kept at its consistency is full of fibre at the end is "
        "common practice, no source.",
        named(lines, "For the pulls", "To keep the vat full to the end", "Fibre to prepare"),
    )


def weigh_out(rows: Sequence[Any], system: System) -> Explained:
    """Say how much is weighed out of each lot, by the first; a row has as-is, moisture, dry."""
    row = next(iter(rows), None)
    lines: tuple[Line, ...] = ()
    if row is not None:
        lines = (
            Line(f"Oven-dry of {row.lot}", show_mass(row.oven_dry_mg, system=system)),
            Line("Moisture", show_share(row.moisture), "of the lot"),
            Line("Weigh out, as is", show_mass(row.as_is_mg, system=system), "", "answer"),
        )
    return Explained(
        "What to weigh out",
        "oven-dry of a fibre = its share × fibre to prepare ÷ preparation yield. Weigh out, as is "
        "= oven-dry ÷ (1 − moisture of the lot).",
        f"{sources.MOISTURE} Share and yield are the owner’s figures, set on the furnish and the "
        "fibre or its lot.",
        lines,
    )


def consistency(sheet: MakingSheet | None, system: System) -> Explained:
    """Say how thick the vat is kept."""
    lines: tuple[Line, ...] = ()
    if sheet is not None:
        figure = show_number(sheet.forming.consistency.magnitude, places=2)
        draw = show_length(sheet.forming.draw, system=system)
        lines = (
            Line("Draw", draw, "depth of vat whose fibre stays on the mould"),
            Line("Consistency", f"{figure}\u00a0g/L", "", "answer"),
        )
    return Explained(
        "Consistency of the vat",
        "consistency in g/L = fibre on the mould in g/m² ÷ draw in mm. Where it was given, or no "
        "draw of the mould is known, the draw follows from the consistency. Fibre on the mould = "
        "fibre in one pull ÷ opening of the mould.",
        f"{DEFINITION} The draw is learned from sheets that were weighed.",
        lines,
    )


def stuff(sheet: MakingSheet | None, system: System) -> Explained:
    """Say how much stuff is made up, and with how much water."""
    lines: tuple[Line, ...] = ()
    if sheet is not None:
        at = sheet.forming.asked.thick_consistency
        lines = (
            Line("Fibre to prepare", show_mass(sheet.forming.total_mg, system=system)),
            Line("Stuff", _litres(sheet.forming.stuff, system), f"at {show_share(at)}"),
            Line("Water", _litres(sheet.water, system), "beside what the lots bring", "answer"),
        )
    return Explained(
        "Stuff and water",
        "stuff = fibre to prepare ÷ consistency of the stuff. Water = stuff − "
        "what is weighed out, as is. Dose = its share × dry fibre.",
        f"{DEFINITION} A litre of stuff is taken for a kilogram.",
        lines,
    )


def _litres(volume: Any, system: System) -> str:
    return show_volume(volume, system=system, places=1)


def trial_sheet(sheet: MakingSheet | None, system: System) -> Explained:
    """Say what a sheet has to weigh."""
    lines: tuple[Line, ...] = ()
    if sheet is not None:
        trial = sheet.trial_words(system)
        tolerance = show_share(sheet.forming.asked.tolerance)
        limits = f"from {trial.least} to {trial.most}, ±\u00a0{tolerance}"
        lines = (
            Line("A dry sheet", trial.dry, limits),
            Line("Couched, about", trial.wet),
        )
    return Explained(
        "What a sheet weighs",
        "a dry sheet = grammage × area of the pull. Couched = fibre in one pull ÷ share of fibre "
        "in a couched sheet. Least and most = dry × (1 ∓ tolerance).",
        f"{sources.GRAMMAGE} That 15 to 20 % of a couched sheet is fibre is from memory; the "
        "figures used are the owner’s, set on the Studio page.",
        lines,
    )


def balance(lines: Sequence[Line] = ()) -> Explained:
    """Say where the fibre went."""
    ends = ("Issued from lots", "Lost in preparation and forming", "More than was issued")
    return Explained(
        "Where the fibre went",
        "lost = issued − in good sheets − in retree − broke kept − heel kept − heel thrown away, "
        "all oven-dry. In sheets = their number × fibre in one: the mean of those that were dried "
        "and weighed, else what the sheet should hold.",
        f"{DEFINITION} Oven-dry: {sources.MOISTURE}",
        named(lines, *ends),
    )


def counts(in_all: str = "") -> Explained:
    """Say how the counts of all posts come about."""
    return Explained(
        "Counts of the vat",
        "in all posts = the taps of every post added up, those taken back left out. Minutes are "
        "those of everybody and of every operation, added up.",
        sources.COUNTED,
        (Line("Pulls", in_all),) if in_all else (),
    )


def oven_dry(as_is_mg: int | None, moisture: Decimal | None, system: System) -> Explained:
    """Say how dry fibre follows from what the scales say, by what is noted already."""
    lines: tuple[Line, ...] = ()
    if as_is_mg and moisture is not None:
        dry = wet.oven_dry_mg(as_is_mg, moisture)
        lines = (
            Line("As it is", show_mass(as_is_mg, system=system), "with its water"),
            Line("Moisture", show_share(moisture)),
            Line("Oven-dry", show_mass(dry, system=system), "", "answer"),
        )
    return Explained(
        "Oven-dry",
        "oven-dry = mass as it is × (1 − moisture).",
        sources.MOISTURE,
        lines,
    )


def litres_thrown() -> Explained:
    """Say how litres of the vat that are thrown away are counted."""
    return Explained(
        "Litres thrown away",
        "fibre in them = litres × consistency of the vat; all the rest is water. A litre of the "
        "vat is taken for a kilogram.",
        f"{DEFINITION} {COMMON}",
    )


def dose() -> Explained:
    """Say how additions are dosed."""
    return Explained(
        "Additions",
        "dose = its share × dry fibre, and it is weighed dry. What is noted here is the mass that "
        "went in, whatever the furnish asks for.",
        f"{DEFINITION} The share is the owner’s figure, set on the furnish.",
    )


def minutes(in_all: str = "") -> Explained:
    """Say how minutes are added up and what they are used for."""
    return Explained(
        "Minutes",
        "minutes of an operation = all that were entered for it − those taken back. A pull takes "
        "= minutes without setting up ÷ pulls.",
        sources.COUNTED,
        (Line("Minutes", in_all),) if in_all else (),
    )


def trial_learned(number: int, moisture: Decimal | None) -> Explained:
    """Say what a weighed sheet teaches; the figures are those the form begins with."""
    lines = [Line("Pull", show_number(number))]
    if moisture is not None:
        lines.append(Line("Moisture of the sheet", show_share(moisture), "the studio’s own"))
    return Explained(
        "What a weighed sheet shows",
        "fibre in it = mass × (1 − its moisture) × (1 − not fibre). Draw in mm = fibre in g ÷ "
        "(opening of the mould in m² × consistency of the vat in g/L).",
        f"{DEFINITION} Moisture: {sources.MOISTURE}",
        tuple(lines),
    )


def compared() -> Explained:
    """Say how a making is set beside the one that it repeats."""
    return Explained(
        "Beside the making that it repeats",
        "Listed is what differs: lots, moisture, doses, bottles, mould, beating and drying. A "
        "lot’s moisture alone is made up for, because lots are weighed out by their dry fibre.",
        COMMON,
    )


def of_page(shown: Mapping[str, Any], studio: Any) -> list[Explained]:
    """Explain the page of one making: what it takes while it is open, then what came of it."""
    one, sheet, system = shown["making"], shown["sheet"], studio.units
    weighed = weigh_out(sheet.weigh if sheet else (), system)
    if one.is_open:
        return [
            pulls(one.ref, one.wanted_good, one.pulls),
            to_prepare(shown["lines"]),
            weighed,
            consistency(sheet, system),
            trial_sheet(sheet, system),
        ]
    said = [good_made(one.ref, _good(shown["figures"])), weighed]
    if shown.get("actual"):
        said.append(came(shown["actual_table"], studio.currency))
    said += of_makings(shown["whence"])
    return [*said, compared()] if shown["compared"] else said


def _good(figures: Sequence[tuple[str, ...]]) -> str:
    return next((figure for label, figure, *_ in figures if label == "Good made"), "")


def of_log(shown: Mapping[str, Any], system: System) -> list[Explained]:
    """Explain the log: taps move its counts on, so no line here names one that a tap changes."""
    if shown["is_planned"]:
        return []
    lines = tuple(shown["lines"])
    if shown["may_log"]:
        said = [counts(), minutes(), balance(named(lines, "Issued from lots"))]
    else:
        said = [counts(shown["in_all"]), minutes(shown["minutes_in_all"]), balance(lines)]
    return [*said, oven_dry(None, None, system)]
