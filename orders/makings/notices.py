"""What a making has to be looked at for: fibre that others wait for, its day due, its dryer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils import timezone

from orders.calc.dates import MakingDays
from orders.calc.dryerturns import Load, crowded
from orders.calc.forming import Forming, form
from orders.calc.taken import Taken
from orders.dates import StudioDays
from orders.makings.forming import to_form
from orders.models import Commission, Making
from orders.specs import read_shrinkages
from orders.wording import day, exact, named
from studio.context import units_here
from studio.errors import StudioError
from studio.models import Studio
from studio.units import System, show_count, show_number

State = Making.State


def clashes(making: Making, taken: Iterable[Taken], today: date) -> tuple[str, ...]:
    """Say what is in the way of a making that is not over, and how to mend it."""
    if not making.is_open:
        return ()
    studio = Studio.current()
    known = StudioDays.read(studio)
    others = (
        Making.objects.filter(state__in=Making.OPEN, dryer=making.dryer_id)
        .exclude(pk=making.pk)
        .select_related("sheet", "dryer")
        .order_by("planned_on", "pk")
    )
    found = _taken_words(making, taken, units_here(studio))
    found += _late_words(making, known, today)
    found += _dryer_words(making, others if making.dryer_id else (), known, today)
    return tuple(found)


def holding(making: Making, forming: Forming, system: System) -> str:
    """Say what fibre a making holds before anything is weighed out; nothing of one under way."""
    if making.state != State.PLANNED:
        return ""
    commission = making.commission
    if commission is None:
        return (
            "It is for the studio’s own stock, so it holds no fibre: promises are served first, "
            "and what is free then may be gone by the day."
        )
    if not commission.is_promise:
        return f"Nobody is promised {commission.ref} any more, so this making holds no fibre."
    return (
        f"The fibre of its sheets is held for {commission.ref}. Beside that it takes "
        f"{exact(_beside_mg(forming), system)} of usable fibre for trial sheets and what stays in "
        "the vat, which nobody holds until it is weighed out."
    )


def open_words(commission: Commission) -> str:
    """Say which makings are open for a commission, before another is planned; nothing of none."""
    makings = list(commission.makings.filter(state__in=Making.OPEN).order_by("pk"))
    if not makings:
        return ""
    verb = "is" if len(makings) == 1 else "are"
    good = show_number(sum(making.wanted_good for making in makings))
    return (
        f"{named([making.ref for making in makings])} {verb} open for {commission.ref} already: "
        f"{good} of its {show_count(commission.good_quantity, 'good sheet')}."
    )


def said_beside(makings: Iterable[Making]) -> list[str]:
    """Say of the open makings of a commission whether trial sheets and heel are in its needs."""
    opened = list(makings)
    return [
        *(
            f"What {making.ref} has still to weigh out counts its trial sheets and what stays in "
            "the vat."
            for making in opened
            if making.state == State.AT_THE_VAT
        ),
        *beside_words(making for making in opened if making.state == State.PLANNED),
    ]


def beside_words(makings: Iterable[Making]) -> list[str]:
    """Say what planned makings of a commission take beside its sheets."""
    studio, shrinkages = Studio.current(), None
    found = []
    for making in makings:
        shrinkages = read_shrinkages() if shrinkages is None else shrinkages
        try:
            forming = form(to_form(making, studio, shrinkages))
        except StudioError:
            continue
        found.append(
            f"{making.ref} takes {exact(_beside_mg(forming), units_here(studio))} of usable fibre "
            "beside that, for trial sheets and what stays in the vat. It is counted once the "
            "making is at the vat."
        )
    return found


def _beside_mg(forming: Forming) -> int:
    return round(forming.trial_mg + forming.heel_mg)


def _taken_words(making: Making, taken: Iterable[Taken], system: System) -> list[str]:
    """Say whose fibre it takes, all of one commission in one sentence."""
    masses: dict[str, list[str]] = {}
    for one in taken:
        mass = f"{exact(one.oven_dry_mg, system)} oven-dry of {' or '.join(one.fibres)}"
        masses.setdefault(one.commission, []).append(mass)
    if making.state == State.AT_THE_VAT:
        mend = "Buy as much for it, or put back what is not in the vat yet"
    else:
        mend = "Plan fewer pulls or a smaller vat, or buy as much for it"
    return [
        f"It takes {' and '.join(said)} that {commission} was promised. {mend}."
        for commission, said in masses.items()
    ]


# --- days ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Days:
    """From when on a making is dried, and when it is done."""

    first_day: date
    days: MakingDays | None
    usual: int

    @property
    def finished_on(self) -> date:
        return self.first_day + timedelta(days=self.days.days if self.days else self.usual)


def _days_of(making: Making, known: StudioDays, today: date) -> _Days:
    """Return the days of a making: planned for a day that is past, it can begin today."""
    if making.state == State.AT_THE_VAT and making.started_at:
        first = timezone.localtime(making.started_at).date()
    else:
        first = max(making.planned_on, today)
    days = known.of(making.sheet, making.pulls, making.dryer, drying=making.drying)
    return _Days(first, days, known.studio.making_days)


def _late_words(making: Making, known: StudioDays, today: date) -> list[str]:
    commission = making.commission
    if commission is None or not commission.is_promise:
        return []
    found = _days_of(making, known, today)
    late = (found.finished_on - commission.due).days
    if late <= 0:
        return []
    days = f"{show_number(late)} day{'' if late == 1 else 's'}"
    mend = (
        "Take a quicker dryer, or agree on a later day"
        if making.state == State.AT_THE_VAT or making.planned_on <= today
        else "Begin sooner, take a quicker dryer, or agree on a later day"
    )
    return [
        f"Packed on {day(found.finished_on, today)} at the earliest, {days} after "
        f"{commission.ref} is due. {mend}."
    ]


def _dryer_words(
    making: Making, others: Iterable[Making], known: StudioDays, today: date
) -> list[str]:
    dryer = making.dryer
    if dryer is None:
        return []
    own = _load_of(making, known, today)
    beside = crowded(
        own,
        [_load_of(one, known, today) for one in others],
        pulls_per_load=dryer.pulls_per_load,
    )
    if not beside:
        return []
    together = sum(min(one.pulls, dryer.pulls_per_load) for one in (own, *beside))
    since = max(own.first_day, min(one.first_day for one in beside))
    return [
        f"From {day(since, today)} it shares the {dryer.name} with "
        f"{named([one.ref for one in beside])}: {show_number(together)} pulls together, and it "
        f"holds {show_number(dryer.pulls_per_load)} at once. Move one to other days, or to "
        "another dryer."
    ]


def _load_of(making: Making, known: StudioDays, today: date) -> Load:
    found = _days_of(making, known, today)
    dry = found.days.days_to_dry if found.days else found.usual
    return Load(making.ref, found.first_day, found.first_day + timedelta(days=dry), making.pulls)
