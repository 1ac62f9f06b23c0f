"""What was noted on the log of a making, in words, and where it leads on to."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils import timezone

from fibres import lotbook
from fibres.calc import moisture as wet
from fibres.models import Lot
from orders import sheetsinhand
from orders.calc.makingsheet import WeighOut
from orders.makings import doubts, keptas, weighing
from orders.makings.planning import spec_of
from orders.makings.standing import standing
from orders.models import Making, TrialSheet
from orders.views.makinglogcounts import totals
from studio import roles
from studio.sizes import Size
from studio.units import (
    System,
    show_count,
    show_mass,
    show_number,
    show_share,
    show_sheet_mass,
    show_size,
)

MOST_LOTS = 12


@dataclass(frozen=True, slots=True)
class Noted:
    """One thing noted, with what more is to be said of it and how to put it right."""

    words: str
    more: str = ""
    back: str = ""
    link: str = ""
    link_words: str = ""


def with_query(address: str, asked: dict[str, str]) -> str:
    """Return an address that asks for something."""
    return f"{address}?{urlencode(asked)}"


def issue_notes(making: Making, system: System, *, may_correct: bool) -> list[Noted]:
    """Return what was weighed out of which lot, as it now stands."""
    issues = list(making.issues.select_related("lot__fibre", "movement").order_by("pk"))
    stands = standing(issue.movement for issue in issues if issue.movement)
    found = []
    for issue in issues:
        as_is, dry, note = issue.as_is_mg, issue.oven_dry_mg, ""
        back, link = "", ""
        if issue.movement_id is None:
            back = reverse("making_issue_back", args=[making.ref, issue.pk])
        else:
            now = stands[issue.movement_id]
            if now is None or now.pk != issue.movement_id:
                was = show_mass(as_is, system=system)
                note = f"; entered as {was} and corrected since"
            as_is = -(now.as_is_mg or 0) if now else 0
            dry = -now.oven_dry_mg if now else 0
            if may_correct and now is not None and lotbook.may_be_corrected(now):
                link = reverse("movement_correct", args=[now.pk])
        found.append(
            Noted(
                f"{issue.lot.ref} {issue.lot.fibre.name}",
                f"{show_mass(as_is, system=system)} as is at {show_share(issue.moisture)}, "
                f"{show_mass(dry, system=system)} oven-dry{note}",
                back,
                link,
                "Correct it" if link else "",
            )
        )
    return found


def to_weigh(making: Making, system: System) -> list[Noted]:
    """Return what is still to be weighed out, lot by lot; of a lot begun, the rest.

    Where the making sheet cannot say it, or finds no lot, they are the lots of the furnish.
    """
    address = reverse("making_issue", args=[making.ref])
    rows = weighing.still_to_weigh(making, timezone.localdate())
    found = [
        Noted(
            f"{row.lot} {row.fibre}",
            f"{to_weigh_words(row, system)} as is still to weigh, at {show_share(row.moisture)}"
            f"{_in_place(row.place)}",
            link=with_query(address, {"lot": row.lot}),
            link_words="Weigh out",
        )
        for row in rows
    ]
    return found or ([] if making.issues.exists() else _lots_of_furnish(making, system, address))


def to_weigh_words(row: WeighOut, system: System) -> str:
    """Word what is to be weighed out of a lot, never less than is needed."""
    return show_mass(weighing.rounded_up(row.as_is_mg, system), system=system)


def _lots_of_furnish(making: Making, system: System, address: str) -> list[Noted]:
    own, stand_ins = keptas.furnish_fibres(making)
    return [
        Noted(
            f"{lot.ref} {lot.fibre.name}",
            f"holds {show_mass(wet.as_is_mg(lot.oven_dry_mg, lot.moisture), system=system)} as is "
            f"at {show_share(lot.moisture)}{_in_place(lot.place)}",
            link=with_query(address, {"lot": lot.ref}),
            link_words="Weigh out",
        )
        for lot in weighing.lots_for(making).filter(fibre__in=[*own, *stand_ins])[:MOST_LOTS]
    ]


def _in_place(place: str) -> str:
    return f", {place}" if place else ""


def dose_notes(making: Making, system: System) -> list[Noted]:
    """Return what was added beside fibre."""
    address = reverse("making_dose", args=[making.ref])
    return [
        Noted(
            dose.name,
            f"{show_mass(dose.mass_mg, system=system)} dry"
            f"{', from ' + dose.bottle if dose.bottle else ''}",
            link=with_query(address, {"name": dose.name}) if making.is_open else "",
            link_words="Change it",
        )
        for dose in making.doses.all()
    ]


def trial_notes(making: Making, system: System) -> list[Noted]:
    """Return the sheets that were dried and weighed."""
    return [
        Noted(
            f"Pull {show_number(trial.number)}: {show_sheet_mass(trial.mass_mg, system)}",
            _trial_more(trial, system),
            reverse("making_trial_back", args=[making.ref, trial.pk]) if making.is_open else "",
        )
        for trial in making.trial_sheets.all()
    ]


def _trial_more(trial: TrialSheet, system: System) -> str:
    words = f"at {show_share(trial.moisture)} moisture"
    if trial.width_um and trial.height_um:
        words += f", {show_size(Size(trial.width_um, trial.height_um), system=system)}"
    return words


def heel_words(making: Making, system: System) -> str:
    """Say what becomes of what is left in the vat."""
    if not making.heel:
        return "Not said yet: kept, thrown away, or nothing left."
    words = str(making.get_heel_display())
    if making.heel_as_is_mg and making.heel_moisture is not None:
        words += f": {_weighed(making.heel_as_is_mg, making.heel_moisture, system)}"
    return f"{words}{_lot_words(making.heel_lot)}."


def broke_words(making: Making, system: System) -> str:
    """Say what is kept of broke and trimmings."""
    if not making.broke_as_is_mg or making.broke_moisture is None:
        return "None kept: what is faulty counts as lost."
    weighed = _weighed(making.broke_as_is_mg, making.broke_moisture, system)
    return f"Kept as a lot: {weighed}{_lot_words(making.broke_lot)}."


def _lot_words(lot: Lot | None) -> str:
    return f", now {lot.ref}" if lot else ""


def _weighed(as_is_mg: int, moisture: Decimal, system: System) -> str:
    dry = show_mass(wet.oven_dry_mg(as_is_mg, moisture), system=system)
    return f"{show_mass(as_is_mg, system=system)} at {show_share(moisture)}, {dry} oven-dry"


def odd_words(making: Making) -> list[str]:
    """Say what may have been forgotten or counted wrong; a making is finished all the same."""
    counted = totals(making)
    spec = spec_of(making)
    sorted_ = counted["good"] + counted["retree"] + counted["broke"]
    formed = counted["pulls"] * doubts.pieces_of(spec)
    found = [
        f"The furnish asks for {name}, and none of it was weighed out."
        for name in _not_weighed_out(making)
    ]
    if not sorted_:
        found.append("Not one sheet is counted: all of the fibre will be counted as lost.")
    found += doubts.of_counts(making, counted, spec=spec)
    if formed > sorted_:
        verb = "was" if formed == 1 else "were"
        found.append(
            f"{show_count(formed, 'sheet')} {verb} formed and {show_number(sorted_)} sorted. What "
            "lies in the dryer is not in hand yet."
        )
    return found


def _not_weighed_out(making: Making) -> list[str]:
    """Return the fibres of the furnish of which nothing was taken, nor of what may stand in."""
    taken = set(making.issues.values_list("lot__fibre", flat=True))
    parts = making.sheet.furnish.parts.select_related("fibre").prefetch_related("substitutes")
    return [
        part.fibre.name
        for part in parts
        if not taken & {part.fibre_id, *(fibre.pk for fibre in part.substitutes.all())}
    ]


def in_a_row(words: list[str]) -> str:
    """Join words as a person lists them."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if words[1:] else words)


def onward(making: Making, user: Any) -> list[tuple[str, str]]:
    """Return what follows when a making is finished: words and address, the first thing first."""
    if making.state != Making.State.FINISHED:
        return []
    found = []
    commission = making.commission
    may_send = commission and commission.is_promise and roles.can(user, "store.take")
    if commission and may_send and sheetsinhand.sendable(commission).exists():
        sends = reverse("delivery_new", args=[commission.ref])
        found.append((f"Send sheets to {commission.ref}", sends))
    for what, lot in (("broke", making.broke_lot), ("heel", making.heel_lot)):
        if lot:
            found.append((f"Label the {what}, {lot.ref}", reverse("lot_label", args=[lot.ref])))
    if roles.can(user, "makings.change"):
        found.append(("Repeat this making", reverse("making_repeat", args=[making.ref])))
    return [*found, ("Where the fibre went", "#balance")]
