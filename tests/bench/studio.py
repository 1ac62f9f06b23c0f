"""A generated studio in the database, of any size and always the same for one seed.

Rows are written in bulk, with the movements and the entries that belong to every lot, each
movement sealed, so that the audit finds nothing. What is held comes to ``load`` of what is
promised, fibre by fibre, so that some promises are short. ``python -m tests.bench --lots 1000
--commissions 100`` fills the database that the environment names, to look at the pages of a large
studio; it goes into an empty one only.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from random import Random
from typing import TYPE_CHECKING

from django.db import transaction

from fibres import sealing
from fibres.calc import moisture as wet
from fibres.models import (
    Fibre,
    Furnish,
    FurnishPart,
    Lot,
    Movement,
    Offer,
    OfferBreak,
    Purchase,
    PurchaseLine,
    Source,
)
from orders import snapshot
from orders.models import Client, Commission, Sheet
from studio.errors import StudioError
from studio.models import Entry, Studio
from tests.bench.moving import Mover

if TYPE_CHECKING:
    from orders.calc.planrows import Snapshot

KG = 1_000_000
AT_ONCE = 900
COMMISSIONS_TO_A_CLIENT = 20
A_MAKING_TO = 4
MOISTURE = Decimal("0.08")
# Shares of the lines of a furnish, with the limits of those that have any.
FURNISHES: Sequence[Sequence[tuple[str, str | None, str | None]]] = (
    (("1", None, None),),
    (("0.6", "0.5", "0.7"), ("0.4", "0.3", "0.5")),
    (("0.8", None, None), ("0.2", None, None)),
    (("0.5", "0.4", "0.6"), ("0.3", "0.2", "0.4"), ("0.2", None, None)),
)
SIZES_UM = ((210_000, 297_000), (148_000, 210_000), (297_000, 420_000))


@dataclass(frozen=True)
class Extent:
    """How large a studio is: as many lots, commissions and fibres, over so many days.

    ``movements`` are all that there are: one by which each lot came, and the rest after it.
    """

    lots: int
    commissions: int
    fibres: int
    days: int
    load: float = 0.95
    seed: int = 1
    movements: int = 0


@transaction.atomic
def fill(extent: Extent, today: date) -> None:
    """Write a studio of that extent into an empty database."""
    if Fibre.objects.exists() or Commission.objects.exists():
        raise StudioError("A generated studio goes into an empty database only.")
    _Maker(extent, today).make()


class _Maker:
    def __init__(self, extent: Extent, today: date) -> None:
        self.extent = extent
        self.today = today
        self.choose = Random(extent.seed)
        self.fibres: list[Fibre] = []
        self.suppliers: list[Source] = []
        self.offers: list[Offer] = []

    def make(self) -> None:
        Studio.current()
        self.make_fibres()
        self.make_sources()
        sheets = self.make_sheets(self.make_furnishes())
        self.make_commissions(sheets)
        self.make_lots(self.masses_held(snapshot.read(self.today)))
        self.limit_to_lots()
        self.move_lots()
        sealing.seal_all(Movement.objects.all())

    def make_fibres(self) -> None:
        """Make fibres of which each fifth is scrap."""
        self.fibres = Fibre.objects.bulk_create(
            Fibre(
                name=f"Fibre {number:02d}",
                code=f"F{number:02d}"[:3],
                family=Fibre.Family.WASTE_PAPER if number % 5 == 4 else Fibre.Family.BAST,
                source_class=(
                    Fibre.SourceClass.POST_CONSUMER
                    if number % 5 == 4
                    else Fibre.SourceClass.VIRGIN
                ),
                is_scrap=number % 5 == 4,
                preparation_yield=Decimal(90 + number % 9) / 100,
                preparation_days=number % 4,
                minimum_mg=(number % 3) * KG,
            )
            for number in range(self.extent.fibres)
        )

    def make_sources(self) -> None:
        """Make suppliers, each with offers of some fibres; the first offers every one."""
        count = max(2, self.extent.fibres // 4)
        self.suppliers = Source.objects.bulk_create(
            Source(
                name=f"Source {number:02d}",
                kind=Source.Kind.SUPPLIER,
                lead_days=5 + 3 * (number % 5),
                freight_minor=900 + 200 * (number % 4),
                order_minimum_minor=2000 * (number % 3),
                free_freight_from_minor=20_000 if number % 2 else None,
            )
            for number in range(count)
        )
        self.offers = Offer.objects.bulk_create(
            Offer(
                source=source,
                fibre=fibre,
                pack_mg=self.choose.choice([2, 5, 10]) * KG,
                moisture=MOISTURE,
                minor_per_kg=self.choose.randint(600, 2400),
            )
            for place, source in enumerate(self.suppliers)
            for number, fibre in enumerate(self.fibres)
            if place == 0 or number % count == place
        )
        OfferBreak.objects.bulk_create(
            OfferBreak(offer=offer, from_packs=4, minor_per_kg=offer.minor_per_kg * 85 // 100)
            for offer in self.offers[::2]
        )

    def make_furnishes(self) -> list[Furnish]:
        """Make furnishes of one to three lines, some with limits, some with a stand-in."""
        furnishes = Furnish.objects.bulk_create(
            Furnish(name=f"Furnish {number:03d}") for number in range(2 * self.extent.fibres)
        )
        parts, stands_in = [], []
        for number, furnish in enumerate(furnishes):
            shares = FURNISHES[number % len(FURNISHES)]
            chosen = self.choose.sample(self.fibres, len(shares) + 1)
            for fibre, (share, least, most) in zip(chosen, shares, strict=False):
                parts.append(
                    FurnishPart(
                        furnish=furnish,
                        fibre=fibre,
                        share=Decimal(share),
                        least=least and Decimal(least),
                        most=most and Decimal(most),
                    )
                )
                stands_in.append(chosen[-1] if self.choose.random() < 0.3 else None)
        parts = FurnishPart.objects.bulk_create(parts)
        through = FurnishPart.substitutes.through
        through.objects.bulk_create(
            through(furnishpart=part, fibre=fibre)
            for part, fibre in zip(parts, stands_in, strict=True)
            if fibre is not None
        )
        return furnishes

    def make_sheets(self, furnishes: list[Furnish]) -> list[Sheet]:
        return Sheet.objects.bulk_create(
            Sheet(
                name=f"Sheet {number:03d}",
                width_um=SIZES_UM[number % 3][0],
                height_um=SIZES_UM[number % 3][1],
                grammage=Decimal(self.choose.choice([90, 120, 160, 240])),
                furnish=furnish,
            )
            for number, furnish in enumerate(furnishes)
        )

    def make_commissions(self, sheets: list[Sheet]) -> None:
        clients = Client.objects.bulk_create(
            Client(name=f"Bramble Letterpress {number:04d}")
            for number in range(1 + self.extent.commissions // COMMISSIONS_TO_A_CLIENT)
        )
        Commission.objects.bulk_create(
            (
                Commission(
                    ref=f"G-{number:05d}",
                    title="Generated",
                    client=clients[number % len(clients)],
                    sheet=self.choose.choice(sheets),
                    good_quantity=self.choose.randint(20, 400),
                    due=self.today + timedelta(days=self.choose.randint(5, self.extent.days)),
                    state=Commission.State.AGREED,
                    priority=self.choose.randint(1, 9),
                    no_scrap=self.choose.random() < 0.3,
                    all_or_nothing=self.choose.random() < 0.01,
                )
                for number in range(self.extent.commissions)
            ),
            batch_size=AT_ONCE,
        )

    def masses_held(self, promised: Snapshot) -> dict[str, float]:
        """Return usable milligrams to hold of every fibre: the load of what is promised."""
        wanted: Counter[str] = Counter()
        for one in promised.commissions:
            for part in one.furnish:
                for fibre in part.fibres:
                    wanted[fibre] += float(part.target) * one.need_mg / len(part.fibres)
        return {
            fibre.name: wanted[fibre.name] * self.extent.load * self.choose.uniform(0.85, 1.15)
            for fibre in self.fibres
        }

    def make_lots(self, masses: dict[str, float]) -> None:
        """Share the mass of each fibre among its lots; a tenth of it is still on its way."""
        by_fibre: dict[str, list[int]] = {fibre.name: [] for fibre in self.fibres}
        for number in range(self.extent.lots):
            by_fibre[self.fibres[number % len(self.fibres)].name].append(number)
        rows = []
        for fibre in self.fibres:
            numbers = by_fibre[fibre.name]
            weights = [self.choose.uniform(0.2, 1) for _ in numbers]
            for number, weight in zip(numbers, weights, strict=True):
                usable = masses[fibre.name] * 0.9 * weight / sum(weights)
                rows.append(self.lot(fibre, number, usable))
            self.send_for(fibre, masses[fibre.name] * 0.1)
        lots = Lot.objects.bulk_create(rows, batch_size=AT_ONCE)
        self.enter_lots(lots)

    def lot(self, fibre: Fibre, number: int, usable_mg: float) -> Lot:
        as_is = max(2, int(usable_mg / float(fibre.preparation_yield * (1 - MOISTURE))))
        oven_dry = wet.oven_dry_mg(as_is, MOISTURE)
        goes_off = self.choose.random() < 0.15
        return Lot(
            ref=f"{fibre.code}-{number:06d}",
            fibre=fibre,
            source=self.choose.choice(self.suppliers),
            received_on=self.today - timedelta(days=self.choose.randint(1, 600)),
            as_is_mg=as_is,
            received_oven_dry_mg=oven_dry,
            oven_dry_mg=oven_dry,
            moisture=MOISTURE,
            measured=Lot.Measured.WEIGHED,
            moisture_known=Lot.MoistureKnown.LABEL,
            keep_until=(
                self.today + timedelta(days=self.choose.randint(3, self.extent.days))
                if goes_off
                else None
            ),
            paid_minor=as_is * self.choose.randint(200, 2400) // KG,
        )

    def enter_lots(self, lots: list[Lot]) -> None:
        """Write the entry and the movement by which every lot came."""
        entries = Entry.objects.bulk_create(
            (
                Entry(
                    request_key=uuid.UUID(int=self.choose.getrandbits(128), version=4),
                    act="receive",
                    said=f"Received {lot.ref}",
                    page=lot.get_absolute_url(),
                )
                for lot in lots
            ),
            batch_size=AT_ONCE,
        )
        Movement.objects.bulk_create(
            (
                Movement(
                    lot=lot,
                    kind=Movement.Kind.RECEIVED,
                    oven_dry_mg=lot.oven_dry_mg,
                    as_is_mg=lot.as_is_mg,
                    moisture=lot.moisture,
                    happened_on=lot.received_on,
                    entry=entry,
                )
                for lot, entry in zip(lots, entries, strict=True)
            ),
            batch_size=AT_ONCE,
        )

    def move_lots(self) -> None:
        """Write the movements after those by which the lots came, and a few finished makings."""
        more = self.extent.movements - self.extent.lots
        if more > 1:
            makings = self.extent.commissions // A_MAKING_TO
            Mover(self.choose, self.today).move(more, makings=makings)

    def send_for(self, fibre: Fibre, usable_mg: float) -> None:
        """Order what is still to come of a fibre, in whole packs of the first offer of it."""
        offer = next(offer for offer in self.offers if offer.fibre_id == fibre.pk)
        usable_of_pack = offer.pack_mg * float((1 - MOISTURE) * fibre.preparation_yield)
        packs = max(1, round(usable_mg / usable_of_pack))
        purchase = Purchase.objects.create(
            ref=f"P-{fibre.code}",
            source=offer.source,
            state=Purchase.State.ORDERED,
            ordered_on=self.today - timedelta(days=3),
            expected_on=self.today + timedelta(days=self.choose.randint(2, self.extent.days)),
            freight_minor=1200,
        )
        PurchaseLine.objects.create(
            purchase=purchase,
            fibre=fibre,
            offer=offer,
            packs=packs,
            pack_mg=offer.pack_mg,
            moisture=MOISTURE,
            goods_minor=packs * offer.pack_mg * offer.minor_per_kg // KG,
        )

    def limit_to_lots(self) -> None:
        """Hold one commission in two hundred to a few lots of each fibre of its furnish."""
        lots: dict[int, list[int]] = {}
        for lot, fibre in Lot.objects.order_by("pk").values_list("pk", "fibre_id"):
            lots.setdefault(fibre, []).append(lot)
        limited = Commission.objects.order_by("pk").values_list("pk", flat=True)[::200]
        asked = (
            Commission.objects.filter(pk__in=list(limited))
            .order_by("pk", "sheet__furnish__parts__pk")
            .values_list("pk", "sheet__furnish__parts__fibre_id")
        )
        through = Commission.only_lots.through
        through.objects.bulk_create(
            through(commission_id=commission, lot_id=lot)
            for commission, fibre in asked
            for lot in sorted(self.choose.sample(lots[fibre], min(len(lots[fibre]), 3)))
        )
