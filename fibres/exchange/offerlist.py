"""The list of offers, as a supplier sends it.

An offer is known again by source, fibre, form and pack. Where an open one of these holds on any
of the same days, it is closed and the new one entered in its place, so that purchases keep the
offer they were made by; where nothing differs, nothing is written.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone

from fibres.calc.offerwords import PER_WORDS, READ_AS_PER
from fibres.models import Fibre, Offer, OfferBreak, Source
from studio import money
from studio.errors import ReadingError
from studio.fields import read
from studio.files.columns import Column, choices_of
from studio.files.kinds import Asked
from studio.files.lists import ENTERED, REPLACED, UNCHANGED, Change, FileList, portions
from studio.files.names import Names
from studio.files.rows import Fault, RowReader
from studio.models import Entry, Studio
from studio.money import show_money
from studio.units import show_mass, show_number

MOST_BREAKS = 20
MOST_PACKS = 100_000
Key = tuple[int, int, str, int]


@dataclass(frozen=True, slots=True)
class KnownOffers:
    """The names that a row may give, and the studio's currency."""

    sources: Names
    fibres: Names
    currency: str

    @property
    def mark(self) -> tuple[Any, ...]:
        """What a list is read by."""
        kinds = tuple(one.kind for rows in self.sources.rows.values() for one in rows)
        refused = tuple(one.is_refused for rows in self.fibres.rows.values() for one in rows)
        return (self.sources.mark, kinds, self.fibres.mark, refused, self.currency)


@dataclass(frozen=True, slots=True)
class OfferRow:
    """The offer of a row, not written yet, and its price breaks."""

    offer: Offer
    breaks: tuple[tuple[int, int], ...]


class OfferList(FileList):
    """Offers of suppliers."""

    slug, title, noun, nouns = "offers", "Offers", "offer", "offers"
    lede = "What suppliers ask for a supply pack of a fibre, with breaks by the number of packs."
    act = "take in offers"
    route = "offers"
    is_named = True
    deeds = (ENTERED, REPLACED, UNCHANGED)
    columns = (
        Column("source", "name", "A supplier that is entered.", "Greyling Fibres",
               "the name of a supplier", needed=True, also=("supplier", "from")),
        Column("fibre", "name", "A fibre that is entered.", "Cotton linter sheet",
               "the name of a fibre", needed=True, also=("fiber",)),
        Column("form", "name", "The form it comes in.", "Dry sheet", longest=60),
        Column("pack", "mass", "One supply pack, as sold.", "5", "a mass, such as 5 kg",
               needed=True, unit="kg", zero=False),
        Column("price", "money", "Of a kilogram.", "9.40",
               "an amount for a kilogram, such as 9.40", needed=True, money=True),
        Column("price per", "choice", "What the price is for a kilogram of; empty: as sold.",
               "as-is", choices=choices_of(Offer.PricePer), money=True),
        Column("currency", "name", "Only to be sure: it must be the studio's own.", money=True),
        Column("moisture", "share", "Water of the mass as sold.", "8", "a share, such as 8 %",
               needed=True, unit="%", below_one=True),
        Column("least packs", "count", "The fewest that are sold; empty: 1.", "1", least=1,
               most=MOST_PACKS),
        Column("breaks", "text", "Packs and the price from there on.", "4: 11.50; 10: 10.90",
               longest=1000, money=True),
        Column("breaks are", "choice", "Whether all packs have the price that is reached, or each "
               "the price of its own step; empty: all units.", "all units",
               choices=choices_of(Offer.Breaks), money=True),
        Column("valid from", "day", "First day on which it holds.", "2026-01-01"),
        Column("valid to", "day", "Last day on which it holds.", "2026-12-31"),
    )  # fmt: skip
    rules = (
        "An open offer of the same source, fibre, form and pack on the same days is closed, and "
        "the new one takes its place. Purchases keep the offer they were made by.",
    )

    def known(self, studio: Studio) -> KnownOffers:
        """Read sources and fibres, open or closed."""
        return KnownOffers(
            Names.of("source", Source.objects.all()),
            Names.of("fibre", Fibre.objects.all()),
            studio.currency,
        )

    def read(self, row: RowReader, known: KnownOffers) -> OfferRow:
        """Return the offer of a row."""
        take, currency = row.take, known.currency
        asked = row.asked.get("breaks") or Asked()
        offer = Offer(
            source=take("source", lambda text: supplier_named(text, known.sources)),
            fibre=take("fibre", lambda text: fibre_named(text, known.fibres)),
            form=take("form", default=""),
            pack_mg=take("pack"),
            moisture=take("moisture"),
            price_per=take("price per", _price_per, Offer.PricePer.AS_IS),
            minor_per_kg=take("price"),
            least_packs=take("least packs", default=1),
            breaks_are=take("breaks are", default=Offer.Breaks.ALL_UNITS),
            valid_from=take("valid from"),
            valid_to=take("valid to"),
        )
        take("currency", lambda text: _currency(text, currency))
        breaks = take("breaks", _breaks_in(currency, asked.plain), ()) or ()
        _judge(row, offer, breaks)
        return OfferRow(offer, breaks)

    def together(
        self, rows: Sequence[tuple[int, OfferRow]], known: KnownOffers
    ) -> Iterable[Fault]:
        """Yield a fault for each row that offers on the same days what an earlier row offers."""
        earlier: dict[Key, list[tuple[int, OfferRow]]] = defaultdict(list)
        for number, row in rows:
            alike = earlier[_key(row.offer)]
            same = next((n for n, one in alike if _share_days(one.offer, row.offer)), None)
            if same is not None:
                yield Fault(
                    number,
                    "",
                    f"Row {same} offers the same pack of the same fibre on the same days. Keep "
                    "one of them.",
                )
            alike.append((number, row))

    def changes(self, rows: Sequence[tuple[int, OfferRow]], known: KnownOffers) -> list[Change]:
        """Tell which open offers a row closes."""
        held = _open_offers()
        return [_change(number, row, held[_key(row.offer)]) for number, row in rows]

    def write(self, changes: Sequence[Change], entry: Entry, tell: Any) -> None:
        """Close what is replaced, then write offers and breaks in portions."""
        today = timezone.localdate()
        closing = [offer.pk for change in changes for offer in change.before]
        for part in portions(closing):
            Offer.objects.filter(pk__in=part).update(closed_on=today)
        done = 0
        for part in portions([change.what for change in changes]):
            Offer.objects.bulk_create([row.offer for row in part])
            OfferBreak.objects.bulk_create(
                [
                    OfferBreak(offer=row.offer, from_packs=packs, minor_per_kg=price)
                    for row in part
                    for packs, price in row.breaks
                ]
            )
            done += len(part)
            tell(done)

    def words(self, change: Change, studio: Studio) -> str:
        """Name fibre, source, pack and price."""
        offer = change.what.offer
        form = f" {offer.form.lower()}" if offer.form else ""
        pack = show_mass(offer.pack_mg, system=studio.units)
        price = show_money(offer.minor_per_kg, studio.currency)
        steps = "".join(
            f", from {packs} packs {show_money(minor, studio.currency)}"
            for packs, minor in change.what.breaks
        )
        return f"{offer}, {pack}{form} at {price} a kilogram {PER_WORDS[offer.price_per]}{steps}"

    def rows_out(self) -> Iterator[dict[str, Any]]:
        """Yield the offers that are open."""
        currency = Studio.current().currency
        rows = Offer.objects.filter(closed_on=None).select_related("source", "fibre")
        for offer in rows.prefetch_related("breaks").iterator(chunk_size=500):
            breaks = "; ".join(
                f"{step.from_packs}: {money.major(step.minor_per_kg, currency)}"
                for step in offer.breaks.all()
            )
            yield {
                "source": offer.source.name, "fibre": offer.fibre.name, "form": offer.form,
                "pack": offer.pack_mg, "price": offer.minor_per_kg, "price per": offer.price_per,
                "currency": currency, "moisture": offer.moisture,
                "least packs": offer.least_packs, "breaks": breaks,
                "breaks are": offer.breaks_are, "valid from": offer.valid_from,
                "valid to": offer.valid_to,
            }  # fmt: skip


def supplier_named(text: str, sources: Names) -> Source:
    """Return the open supplier of that name, or say what is near it."""
    source: Source = sources.called(text)
    if source.kind != Source.Kind.SUPPLIER:
        kind = source.get_kind_display().lower()
        raise ReadingError(f"“{source}” is entered as {kind}. Offers come from suppliers.")
    return sources.open(text)  # type: ignore[no-any-return]


def fibre_named(text: str, fibres: Names) -> Fibre:
    """Return the fibre of that name that is taken in, or say what is near it."""
    fibre: Fibre = fibres.called(text)
    if fibre.is_refused:
        raise ReadingError(f"“{fibre}” is refused at the door, so that nothing of it is kept.")
    return fibres.open(text)  # type: ignore[no-any-return]


# --- cells --------------------------------------------------------------------------------------


def _judge(row: RowReader, offer: Offer, breaks: tuple[tuple[int, int], ...]) -> None:
    """Compare cells with each other."""
    if breaks and breaks[0][0] <= (offer.least_packs or 1):
        row.blame(
            "breaks",
            f"The first price holds from {offer.least_packs} on. Begin the breaks at "
            f"{offer.least_packs + 1} or more.",
        )
    if offer.valid_from and offer.valid_to and offer.valid_to < offer.valid_from:
        row.blame("valid to", "An offer cannot end before it starts. Change one day.")


def _price_per(text: str) -> str:
    word = text.casefold().removeprefix("kg ").removeprefix("per ").removesuffix(" kg")
    if word not in READ_AS_PER:
        raise ReadingError(f"“{text[:40]}” is none of: as-is, air-dry, oven-dry.")
    return READ_AS_PER[word]


def _currency(text: str, currency: str) -> str:
    if text.upper() != currency:
        raise ReadingError(f"“{text[:40]}” is not the studio's currency, {currency}.")
    return currency


def _breaks_in(
    currency: str, plain: Callable[[str], str]
) -> Callable[[str], tuple[tuple[int, int], ...]]:
    """Return a function that reads price breaks such as "4: 11.50; 10: 10.90"."""

    def breaks(text: str) -> tuple[tuple[int, int], ...]:
        parts = [part.strip() for part in text.split(";") if part.strip()]
        if len(parts) > MOST_BREAKS:
            raise ReadingError(f"Give at most {MOST_BREAKS} breaks.")
        found: list[tuple[int, int]] = []
        for part in parts:
            start, colon, price = part.partition(":")
            if not colon:
                raise ReadingError(
                    f"“{part[:40]}” is no price break. Write packs and price such as 4: 11.50; "
                    "10: 10.90."
                )
            minor = money.read_money(plain(price), currency, field="the price")
            found.append((_packs(start), minor))
        starts = [packs for packs, _ in found]
        if starts != sorted(set(starts)):
            raise ReadingError("Breaks must go up by the number of packs, each number once.")
        return tuple(found)

    return breaks


def _packs(text: str) -> int:
    packs: int = read(text, "count")
    if packs > MOST_PACKS:
        raise ReadingError(f"Give {show_number(MOST_PACKS)} or fewer, got {show_number(packs)}.")
    return packs


# --- what is there ------------------------------------------------------------------------------


def _open_offers() -> dict[Key, list[Offer]]:
    found: dict[Key, list[Offer]] = defaultdict(list)
    for offer in Offer.objects.filter(closed_on=None).prefetch_related("breaks").order_by("pk"):
        found[_key(offer)].append(offer)
    return found


def _key(offer: Offer) -> Key:
    return offer.source_id, offer.fibre_id, offer.form.casefold(), offer.pack_mg


def _share_days(one: Offer, other: Offer) -> bool:
    def first(offer: Offer) -> date:
        return offer.valid_from or date.min

    def last(offer: Offer) -> date:
        return offer.valid_to or date.max

    return first(one) <= last(other) and first(other) <= last(one)


def _change(number: int, row: OfferRow, alike: Sequence[Offer]) -> Change:
    overlapping = tuple(one for one in alike if _share_days(one, row.offer))
    if not overlapping:
        return Change(number, ENTERED, row)
    if len(overlapping) == 1 and _says_the_same(row, overlapping[0]):
        return Change(number, UNCHANGED, row)
    return Change(number, REPLACED, row, overlapping)


def _says_the_same(row: OfferRow, offer: Offer) -> bool:
    told = (
        "moisture", "price_per", "minor_per_kg", "least_packs", "breaks_are", "valid_from",
        "valid_to",
    )  # fmt: skip
    kept = tuple((step.from_packs, step.minor_per_kg) for step in offer.breaks.all())
    return kept == row.breaks and all(
        getattr(row.offer, name) == getattr(offer, name) for name in told
    )
