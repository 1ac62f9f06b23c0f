"""Finished makings as they stand in the database, with the figures that a test is about."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from fibres.calc import moisture as wet
from fibres.models import Fibre, Lot
from orders import learning
from orders.models import Issue, Making, Post, Sheet, SheetMovement, Spell, TrialSheet
from studio.entries import enter
from tests.builders import KG, day, make_fibre, make_furnish, make_lot, make_making, make_sheet


def make_done(
    sheet: Sheet | None = None,
    *,
    lots: dict[Lot, int] | None = None,
    counts: tuple[int, int, int, int] = (100, 88, 4, 8),
    sheet_mg: int | None = 7_000,
    minutes: dict[str, int] | None = None,
    finished_on: date | None = None,
    trial: dict[str, Any] | None = None,
    **changes: Any,
) -> Making:
    """Make a finished making: 100 pulls of 7 g at no moisture, nothing left in the vat.

    ``lots`` are oven-dry milligrams issued by the lot, ``counts`` are pulls, good, retree, broke.
    """
    making = make_making(sheet or make_sheet(), **{"heel": Making.Heel.NONE, **changes})
    making.state = Making.State.FINISHED
    making.finished_on = finished_on or day(3)
    making.save()
    for lot, mass in (lots or {}).items():
        as_is = wet.as_is_mg(mass, lot.moisture)
        Issue.objects.create(
            making=making, lot=lot, as_is_mg=as_is, moisture=lot.moisture, oven_dry_mg=mass
        )
    pulls, good, retree, broke = counts
    Post.objects.create(
        making=making, number=1, pulls=pulls, good=good, retree=retree, broke=broke
    )
    entry = enter("finish making", f"Finished {making.ref}", page="/", key=None, by=None)
    for quality, sheets in (("good", good), ("retree", retree)):
        if sheets:
            SheetMovement.objects.create(
                making=making, quality=quality, kind=SheetMovement.Kind.MADE, sheets=sheets,
                happened_on=making.finished_on, entry=entry,
            )  # fmt: skip
    for operation, spent in (minutes or {}).items():
        Spell.objects.create(making=making, operation=operation, minutes=Decimal(spent))
    if sheet_mg:
        TrialSheet.objects.create(
            making=making, mass_mg=sheet_mg, moisture=Decimal(0), **(trial or {})
        )
    return making


def linter(**changes: Any) -> tuple[Fibre, Lot, Sheet]:
    """Return a fibre at 95 % yield, a lot of 50 kg of it, and a sheet of it at 96 % retention."""
    fibre = make_fibre(name=changes.pop("name", "Cotton linter"), **changes)
    furnish = make_furnish({fibre: "1"})
    return fibre, make_lot(fibre, as_is_mg=50 * KG), make_sheet(furnish)


def learned_sheet() -> Sheet:
    """Return a sheet that one making shows the broke of."""
    return make_done().sheet


def found(figure, subject):
    return learning.learn().find(figure, subject.replace(" ", "-"))


def take_over(figure, subject, by=None, key=None):
    one = found(figure, subject)
    return learning.accept(
        figure,
        one.slug,
        value=learning.taking.as_kept(one.value),
        stands=learning.taking.as_kept(one.stands),
        by=by,
        key=key,
    )
