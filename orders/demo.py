"""The demo: an invented studio, loaded through the same services that a person's acts go through.

``fixtures/demo/studio.json`` holds it, with days counted from the day the demo is made. What it
promises and holds of linter and abaca is scenario H1: fibre enough in all, and one kind short.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Model

from fibres import purchasing, reference
from fibres import services as store
from fibres.calc import scrap
from fibres.calc.estimates import Estimate
from fibres.models import (
    Addition,
    Fibre,
    Furnish,
    FurnishPart,
    Lot,
    Offer,
    OfferBreak,
    Shrinkage,
    Source,
)
from orders.demomakings import enter_kit, enter_makings
from orders.demoquotes import enter_quotes
from orders.models import Client, Commission, Sheet
from orders.services import enter_commission
from studio.entries import acting
from studio.errors import StudioError
from studio.models import Mould, Studio
from studio.money import read_money
from studio.reading import read_quantity
from studio.units import to_mg

FIXTURE = Path(settings.FIXTURES) / "demo" / "studio.json"
MG_PER_KG = 1_000_000


def make(today: date, by: Any, *, path: Path = FIXTURE) -> Studio:
    """Fill an empty database with the invented studio as it stands on a day."""
    if Studio.objects.exists() or Source.objects.exists():
        raise StudioError("The demo goes into an empty database; this one holds a studio.")
    told = json.loads(path.read_text(encoding="utf-8"))
    with acting():
        reference.load_fibres()
        return _Maker(told, today, by).make()


def _mg(text: str, name: str) -> int:
    return to_mg(read_quantity(text, "mass", field=name))


def _keep(row: Model) -> Any:
    row.full_clean()
    row.save()
    return row


@dataclass(slots=True)
class _Maker:
    """Go through the file once, from what stands alone to what stands on it."""

    told: dict[str, Any]
    today: date
    by: Any
    lots: dict[str, Lot] = field(default_factory=dict)

    def make(self) -> Studio:
        studio: Studio = _keep(Studio(pk=1, **_typed(self.told["studio"])))
        self._moulds_and_sources()
        self._receive()
        self._look_again()
        self._offers()
        self._order()
        self._furnishes()
        self._promise()
        enter_kit(self.told)
        enter_makings(self.told["makings"], self.lots, self.today, self.by)
        enter_quotes(self.told["quotes"], self.today, self.by)
        return studio

    def _day(self, days: int) -> date:
        return self.today + timedelta(days=days)

    def _priced(self, told: dict[str, Any]) -> dict[str, Any]:
        """Turn amounts, which the file keeps as text, into minor units."""
        currency = self.told["studio"]["currency"]
        return {
            key: read_money(value, currency) if "minor" in key else value
            for key, value in told.items()
        }

    def _moulds_and_sources(self) -> None:
        for told in self.told["moulds"]:
            size = read_quantity(told["opening"], "size", field="opening")
            _keep(
                Mould(
                    name=told["name"],
                    width_um=size.width_um,
                    height_um=size.height_um,
                    remarks=told["remarks"],
                )
            )
        for told in self.told["sources"]:
            _keep(Source(**self._priced(told)))
        for name, mass in self.told["minimums"].items():
            fibre = Fibre.objects.get(name=name)
            fibre.minimum_mg = _mg(mass, "minimum")
            _keep(fibre)

    def _receive(self) -> None:
        currency = self.told["studio"]["currency"]
        for told in self.told["lots"]:
            as_is_mg = _mg(told["as_is"], "as_is")
            per_kg = read_money(told["paid_per_kg"], currency)
            receipt = store.Receipt(
                fibre=Fibre.objects.get(name=told["fibre"]),
                source=Source.objects.get(name=told["source"]),
                as_is_mg=as_is_mg,
                moisture=Decimal(told["moisture"]),
                moisture_known=told.get("moisture_known", Lot.MoistureKnown.LABEL),
                received_on=self._day(told["day"]),
                form=told["form"],
                place=told.get("place", ""),
                is_wet=told.get("is_wet", False),
                paid_minor=round(Decimal(per_kg) * as_is_mg / MG_PER_KG),
                remarks=told.get("remarks", ""),
            )
            self.lots[told["fibre"]] = store.receive(receipt, by=self.by)
        for told in self.told["gifts"]:
            self.lots[told["fibre"]] = store.log_scrap(
                _estimate(told),
                donor=told["donor"],
                fibre=Fibre.objects.get(name=told["fibre"]),
                moisture=Decimal(told["moisture"]),
                received_on=self._day(told["day"]),
                remarks=told["remarks"],
                by=self.by,
            )

    def _look_again(self) -> None:
        """Weigh a sample and put a slip right: a ledger with something to read."""
        for told in self.told["moisture_tests"]:
            store.weigh_moisture(
                self.lots[told["lot"]],
                wet_mg=_mg(told["wet"], "wet"),
                dry_mg=_mg(told["dry"], "dry"),
                tare_mg=_mg(told["dish"], "dish"),
                tested_on=self._day(told["day"]),
                by=self.by,
            )
        for told in self.told["corrections"]:
            first = self.lots[told["lot"]].movements.order_by("pk").first()
            store.correct(
                first,
                as_is_mg=_mg(told["as_is"], "as_is"),
                happened_on=self._day(told["day"]),
                why=told["why"],
                by=self.by,
            )

    def _offers(self) -> None:
        """Enter what suppliers ask, with their price breaks."""
        for told in self.told["offers"]:
            rest = {
                key: value
                for key, value in self._priced(told).items()
                if key not in {"fibre", "source", "pack", "breaks", "valid_to"}
            }
            offer = Offer(
                fibre=Fibre.objects.get(name=told["fibre"]),
                source=Source.objects.get(name=told["source"]),
                pack_mg=_mg(told["pack"], "pack"),
                valid_to=self._day(told["valid_to"]) if "valid_to" in told else None,
                **_typed(rest),
            )
            _keep(offer)
            for step in told.get("breaks", ()):
                _keep(OfferBreak(offer=offer, **self._priced(step)))

    def _order(self) -> None:
        """Place what is on its way, at the prices of its offers."""
        for told in self.told["purchases"]:
            source = Source.objects.get(name=told["source"])
            ordered_on = self._day(told["day"])
            purchasing.place(
                source,
                [
                    purchasing.from_offer(
                        Offer.objects.get(source=source, fibre__name=name), packs, on=ordered_on
                    )
                    for name, packs in told["packs"].items()
                ],
                ordered_on=ordered_on,
                remarks=told["remarks"],
                by=self.by,
            )

    def _furnishes(self) -> None:
        currency = self.told["studio"]["currency"]
        for told in self.told["furnishes"]:
            furnish = _keep(Furnish(name=told["name"], remarks=told.get("remarks", "")))
            for name, shares in told["parts"].items():
                _part(furnish, name, shares)
            for addition in told.get("additions", ()):
                _keep(
                    Addition(
                        furnish=furnish,
                        name=addition["name"],
                        kind=addition["kind"],
                        dose=Decimal(addition["dose"]),
                        minor_per_kg=read_money(addition["per_kg"], currency),
                    )
                )
            for drying, sides in told["shrinkage"].items():
                across, along = map(Decimal, sides)
                _keep(Shrinkage(furnish=furnish, drying=drying, across=across, along=along))

    def _promise(self) -> None:
        for told in self.told["clients"]:
            _keep(Client(**told))
        for told in self.told["sheets"]:
            _keep(_sheet(told))
        for told in self.told["commissions"]:
            apart = {"client", "sheet", "due", "not_before", "only_lots"}
            rest = {key: told[key] for key in told if key not in apart}
            commission = Commission(
                client=Client.objects.get(name=told["client"]),
                sheet=Sheet.objects.get(name=told["sheet"]),
                due=self._day(told["due"]),
                not_before=self._day(told["not_before"]) if "not_before" in told else None,
                **_typed(rest),
            )
            lots = [self.lots[name] for name in told.get("only_lots", ())]
            enter_commission(commission, only_lots=lots, by=self.by)


def _part(furnish: Furnish, name: str, shares: str | dict[str, Any]) -> None:
    """Enter one fibre of a furnish: by its share alone, or with how far that may vary."""
    told = {"share": shares} if isinstance(shares, str) else shares
    rest = {key: Decimal(value) for key, value in told.items() if key != "or"}
    part = _keep(FurnishPart(furnish=furnish, fibre=Fibre.objects.get(name=name), **rest))
    part.substitutes.set(Fibre.objects.filter(name__in=told.get("or", ())))


def _estimate(told: dict[str, Any]) -> Estimate:
    if "mass" in told:
        return scrap.from_weight(read_quantity(told["mass"], "mass", field="mass"))
    return scrap.from_sheets(
        told["sheets"],
        size=read_quantity(told["size"], "size", field="size"),
        grammage=read_quantity(told["grammage"], "grammage", field="grammage"),
    )


def _sheet(told: dict[str, Any]) -> Sheet:
    size = read_quantity(told["size"], "size", field="size")
    rest = {key: told[key] for key in told if key not in {"size", "furnish", "mould"}}
    return Sheet(
        width_um=size.width_um,
        height_um=size.height_um,
        furnish=Furnish.objects.get(name=told["furnish"]),
        mould=Mould.objects.get(name=told["mould"]) if "mould" in told else None,
        **_typed(rest),
    )


RATES = frozenset(
    [
        "heel_recovered",
        "moisture",
        "price_rate",
        "grammage",
        "non_fibre_share",
        "retention",
        "broke",
        "retree",
        "minutes_per_pull",
        "tolerance_over",
        "claim_recycled",
    ]
)


def _typed(row: dict[str, Any]) -> dict[str, Any]:
    """Turn the rates of a row, which the file keeps as text, into Decimals."""
    return {key: Decimal(value) if key in RATES else value for key, value in row.items()}
