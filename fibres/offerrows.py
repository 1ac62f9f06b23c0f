"""One row of a list of offers, read cell by cell; every fault is kept, with its column."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from difflib import get_close_matches
from typing import Any, TypeVar

from django.core.exceptions import ValidationError

from fibres.calc.offerwords import READ_AS_PER
from fibres.models import Fibre, Offer, Source
from fibres.offerfiles import REQUIRED, Cells
from studio import money
from studio.errors import ReadingError, StudioError
from studio.fields import DayField, read
from studio.units import to_mg

T = TypeVar("T")
LONGEST_FORM = 60
MOST_BREAKS = 20
MOST_PACKS = 100_000
NEAR = 3
EXAMPLES = {
    "source": "the name of a supplier",
    "fibre": "the name of a fibre",
    "pack": "a mass, such as 5 kg",
    "price": "an amount for a kilogram, such as 9.40",
    "moisture": "a share, such as 8 %",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to put right, by the row of the file and the heading of the column."""

    row: int
    column: str
    text: str

    def __str__(self) -> str:
        where = f"Row {self.row}, {self.column}" if self.column else f"Row {self.row}"
        return f"{where}: {self.text}"


@dataclass(frozen=True, slots=True)
class OfferRow:
    """One row that can be read: the offer, not written yet, and its price breaks."""

    number: int
    offer: Offer
    breaks: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Known:
    """The names that a row may give, read once for all rows, and the studio's currency."""

    sources: Mapping[str, list[Source]]
    fibres: Mapping[str, list[Fibre]]
    currency: str

    @classmethod
    def read(cls, currency: str) -> Known:
        """Read sources and fibres, open or closed."""
        return cls(_by_name(Source.objects.all()), _by_name(Fibre.objects.all()), currency)


def _by_name(rows: Iterable[Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.name.casefold()].append(row)
    return found


@dataclass(slots=True)
class _Reader:
    """Reads the cells of one row and keeps what is wrong with them."""

    cells: Cells
    faults: list[Fault] = field(default_factory=list)

    def take(self, column: str, how: Callable[[str], T], default: T | None = None) -> T | None:
        """Return a cell as ``how`` reads it; the default where it is empty and may be."""
        if any(column == name for name, _ in self.cells.faults):
            return default
        text = self.cells.texts.get(column, "")
        if not text:
            if column in REQUIRED:
                self.blame(column, f"Nothing stands here. Give {EXAMPLES[column]}.")
            return default
        try:
            return how(text)
        except StudioError as fault:
            self.blame(column, str(fault))
        except ValidationError as fault:
            self.blame(column, f"“{text[:40]}”: {' '.join(fault.messages)}")
        return default

    def blame(self, column: str, text: str) -> None:
        """Keep a fault."""
        self.faults.append(Fault(self.cells.number, column, text))


def read_row(cells: Cells, known: Known) -> tuple[OfferRow | None, list[Fault]]:
    """Return the offer of a row, or None with all that is wrong with it."""
    reader = _Reader(cells)
    for column, text in cells.faults:
        reader.blame(column, text)
    take = reader.take
    offer = Offer(
        source=take("source", lambda text: source_named(text, known.sources)),
        fibre=take("fibre", lambda text: fibre_named(text, known.fibres)),
        form=take("form", _form, ""),
        pack_mg=take("pack", lambda text: to_mg(read(text, "mass"))),
        moisture=take("moisture", _moisture),
        price_per=take("price per", _price_per, Offer.PricePer.AS_IS),
        minor_per_kg=take("price", lambda text: _price(text, known.currency)),
        least_packs=take("least packs", _packs, 1),
        breaks_are=take("breaks are", _breaks_are, Offer.Breaks.ALL_UNITS),
        valid_from=take("valid from", _day),
        valid_to=take("valid to", _day),
    )
    take("currency", lambda text: _currency(text, known.currency))
    breaks = take("breaks", lambda text: _breaks(text, known.currency), ()) or ()
    _judge(reader, offer, breaks)
    if reader.faults:
        return None, reader.faults
    return OfferRow(cells.number, offer, breaks), []


def _judge(reader: _Reader, offer: Offer, breaks: tuple[tuple[int, int], ...]) -> None:
    """Compare cells with each other."""
    if breaks and breaks[0][0] <= (offer.least_packs or 1):
        reader.blame(
            "breaks",
            f"The first price holds from {offer.least_packs} on. Begin the breaks at "
            f"{offer.least_packs + 1} or more.",
        )
    if offer.valid_from and offer.valid_to and offer.valid_to < offer.valid_from:
        reader.blame("valid to", "An offer cannot end before it starts. Change one day.")


# --- names --------------------------------------------------------------------------------------


def source_named(text: str, sources: Mapping[str, list[Source]]) -> Source:
    """Return the open supplier of that name, or say what is near it."""
    source: Source = _named(text, sources, "source")
    if source.kind != Source.Kind.SUPPLIER:
        kind = source.get_kind_display().lower()
        raise ReadingError(f"“{source}” is entered as {kind}. Offers come from suppliers.")
    if source.is_closed:
        raise ReadingError(f"“{source}” is closed. Open it again first.")
    return source


def fibre_named(text: str, fibres: Mapping[str, list[Fibre]]) -> Fibre:
    """Return the fibre of that name that is taken in, or say what is near it."""
    fibre: Fibre = _named(text, fibres, "fibre")
    if fibre.is_refused:
        raise ReadingError(f"“{fibre}” is refused at the door, so that no offer of it is kept.")
    if fibre.is_closed:
        raise ReadingError(f"“{fibre}” is closed. Open it again first.")
    return fibre


def _named(text: str, rows: Mapping[str, list[Any]], noun: str) -> Any:
    found = rows.get(text.casefold(), [])
    exact = [row for row in found if row.name == text]
    if len(exact or found) == 1:
        return (exact or found)[0]
    if found:
        raise ReadingError(f"“{text[:40]}” can be {' or '.join(row.name for row in found)}.")
    near = get_close_matches(text.casefold(), list(rows), n=NEAR)
    names = "; ".join(row.name for name in near for row in rows[name])
    raise ReadingError(
        f"No {noun} is called “{text[:40]}”. "
        + (f"Near it: {names}." if names else f"Enter the {noun} first.")
    )


# --- single cells -------------------------------------------------------------------------------


def _form(text: str) -> str:
    if len(text) > LONGEST_FORM:
        raise ReadingError(f"Give at most {LONGEST_FORM} characters; this has {len(text)}.")
    return text


def _moisture(text: str) -> Decimal:
    share: Decimal = read(text, "share")
    if share >= 1:
        raise ReadingError("Give less than 100 %: the rest is fibre.")
    if share != round(share, 6):
        raise ReadingError("Give at most four places after the point.")
    return share


def _price(text: str, currency: str) -> int:
    return money.read_money(text, currency, field="the price")


def _price_per(text: str) -> str:
    word = text.casefold().removeprefix("kg ").removeprefix("per ").removesuffix(" kg")
    if word not in READ_AS_PER:
        raise ReadingError(f"“{text[:40]}” is none of: as-is, air-dry, oven-dry.")
    return READ_AS_PER[word]


def _currency(text: str, currency: str) -> str:
    if text.upper() != currency:
        raise ReadingError(f"“{text[:40]}” is not the studio's currency, {currency}.")
    return currency


def _packs(text: str) -> int:
    packs: int = read(text, "count")
    if packs > MOST_PACKS:
        raise ReadingError(f"Give {MOST_PACKS} or fewer.")
    return packs


def _breaks_are(text: str) -> str:
    word = text.casefold().replace("-", " ")
    if word not in Offer.Breaks.values:
        raise ReadingError(f"“{text[:40]}” is none of: all units, incremental.")
    return word


def _day(text: str) -> date:
    day: date = DayField().clean(text)
    return day


def _breaks(text: str, currency: str) -> tuple[tuple[int, int], ...]:
    """Read price breaks such as "4: 11.50; 10: 10.90"."""
    parts = [part.strip() for part in text.split(";") if part.strip()]
    if len(parts) > MOST_BREAKS:
        raise ReadingError(f"Give at most {MOST_BREAKS} breaks.")
    found: list[tuple[int, int]] = []
    for part in parts:
        start, colon, price = part.partition(":")
        if not colon:
            raise ReadingError(
                f"“{part[:40]}” is no price break. Write packs and price such as 4: 11.50; 10: "
                "10.90."
            )
        found.append((_packs(start), _price(price, currency)))
    starts = [packs for packs, _ in found]
    if starts != sorted(set(starts)):
        raise ReadingError("Breaks must go up by the number of packs, each number once.")
    return tuple(found)
