"""What finished makings can tell: the measurable facts of each, in a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import QuerySet, Sum

from fibres.calc import moisture as wet
from fibres.models import Fibre, Lot
from orders.calc import onemaking, vat
from orders.makings.standing import issued_by_lot
from orders.models import Making, Post, Spell, TrialSheet
from studio.models import Mould
from studio.sizes import Size
from studio.units import Q

Heel = Making.Heel
# What was issued of a lot, in oven-dry milligrams, and the lot's own yield where it has one.
Part = tuple[int, Decimal | None]
# Stuff as thin as in a vat weighs as much as water.
GRAMS_PER_LITRE = 1000


@dataclass(frozen=True, slots=True)
class Issued:
    """Oven-dry fibre issued of one kind, and what of it is taken to be usable."""

    fibre_id: int
    oven_dry_mg: int
    usable_mg: Fraction
    own_yield: bool


@dataclass(frozen=True, slots=True)
class Facts:
    """One finished making as it was weighed, counted and timed.

    ``heel_mg`` is None where nobody weighed what was left; ``fibre_per_pull_mg`` is None where
    no sheet was weighed. Of one making each figure is one number, however often it was taken.
    """

    ref: str
    address: str
    finished_on: date | None
    sheet_id: int
    furnish_id: int
    drying: str
    mould_id: int | None
    retention: Decimal
    issued: tuple[Issued, ...]
    pulls: int
    good: int
    retree: int
    broke: int
    heel_mg: int | None
    fibre_per_pull_mg: Fraction | None
    minutes: Decimal
    draw_um: Fraction | None
    across: Fraction | None
    along: Fraction | None

    @property
    def finished(self) -> int:
        """Sheets that were sorted."""
        return self.good + self.retree + self.broke

    @property
    def formed_mg(self) -> Fraction | None:
        """Oven-dry fibre in all pulls, by the sheets that were weighed."""
        if self.fibre_per_pull_mg is None or not self.pulls:
            return None
        return self.fibre_per_pull_mg * self.pulls

    @property
    def only_fibre(self) -> Issued | None:
        """What was issued, where it was one fibre at its usual yield."""
        if len(self.issued) != 1 or self.issued[0].own_yield:
            return None
        return self.issued[0]

    @property
    def usable_mg(self) -> Fraction:
        """Oven-dry fibre left of all that was issued, if the yields are right."""
        return sum((part.usable_mg for part in self.issued), Fraction(0))


def read() -> list[Facts]:
    """Return what every finished making can tell, in the order they were finished."""
    makings = list(finished())
    issued = _issued(makings)
    trials: dict[int, list[TrialSheet]] = defaultdict(list)
    for trial in TrialSheet.objects.filter(making__state=Making.State.FINISHED).order_by("pk"):
        trials[trial.making_id].append(trial)
    counts, minutes = read_counts(), _minutes()
    none = dict.fromkeys(("pulls", "good", "retree", "broke"), 0)
    return [
        _facts(
            making,
            issued=issued.get(making.pk, ()),
            counts=counts.get(making.pk, none),
            minutes=minutes.get(making.pk, Decimal(0)),
            trials=trials[making.pk],
        )
        for making in makings
    ]


def finished() -> QuerySet[Making]:
    """Return finished makings, the first finished first."""
    return (
        Making.objects.filter(state=Making.State.FINISHED)
        .select_related("sheet__mould", "mould", "heel_lot")
        .order_by("finished_on", "pk")
    )


def read_counts() -> dict[int, dict[str, int]]:
    """Return pulls and sheets by quality of every finished making."""
    rows = (
        Post.objects.filter(making__state=Making.State.FINISHED)
        .order_by()
        .values("making_id")
        .annotate(
            all_pulls=Sum("pulls"),
            all_good=Sum("good"),
            all_retree=Sum("retree"),
            all_broke=Sum("broke"),
        )
    )
    return {
        row["making_id"]: {
            name: row[f"all_{name}"] for name in ("pulls", "good", "retree", "broke")
        }
        for row in rows
    }


def _minutes() -> dict[int, Decimal]:
    """Return minutes by making, set-up left out; none where nobody timed the forming."""
    spent: dict[int, Decimal] = defaultdict(Decimal)
    formed: set[int] = set()
    rows = Spell.objects.filter(making__state=Making.State.FINISHED).values_list(
        "making_id", "operation", "minutes"
    )
    for making, operation, minutes in rows:
        if operation != Spell.Operation.SET_UP:
            spent[making] += minutes
        if operation == Spell.Operation.FORM and minutes:
            formed.add(making)
    return {making: minutes for making, minutes in spent.items() if making in formed}


def _issued(makings: list[Making]) -> dict[int, tuple[Issued, ...]]:
    """Return what was issued to each making, fibre by fibre, as the ledger has it now."""
    by_lot = issued_by_lot(makings)
    rows = Lot.objects.filter(issues__making__state=Making.State.FINISHED).distinct()
    lots = {
        pk: (fibre, own)
        for pk, fibre, own in rows.values_list("pk", "fibre_id", "preparation_yield")
    }
    usual = dict(Fibre.objects.values_list("pk", "preparation_yield"))
    found: dict[int, dict[int, list[Part]]] = defaultdict(lambda: defaultdict(list))
    for (making, lot), mass in by_lot.items():
        fibre, own = lots[lot]
        found[making][fibre].append((mass, own))
    return {
        making: tuple(_of_one_fibre(fibre, usual[fibre], parts) for fibre, parts in fibres.items())
        for making, fibres in found.items()
    }


def _of_one_fibre(fibre: int, usual: Decimal, parts: list[Part]) -> Issued:
    """Add up lots of a fibre, each with its own yield where it has one."""
    return Issued(
        fibre_id=fibre,
        oven_dry_mg=sum(mass for mass, _ in parts),
        usable_mg=sum(
            (mass * Fraction(usual if own is None else own) for mass, own in parts), Fraction(0)
        ),
        own_yield=any(own is not None for _, own in parts),
    )


def _facts(
    making: Making,
    *,
    issued: tuple[Issued, ...],
    counts: Mapping[str, int],
    minutes: Decimal,
    trials: list[TrialSheet],
) -> Facts:
    sheet, mould = making.sheet, making.mould or making.sheet.mould
    fibre = 1 - Fraction(sheet.non_fibre_share)
    weighed = [trial.oven_dry_mg * fibre for trial in trials]
    sides = [_shrunk(trial, mould) for trial in trials if mould]
    return Facts(
        ref=making.ref,
        address=making.get_absolute_url(),
        finished_on=making.finished_on,
        sheet_id=making.sheet_id,
        furnish_id=sheet.furnish_id,
        drying=making.drying,
        mould_id=mould.pk if mould else None,
        retention=sheet.retention,
        issued=issued,
        heel_mg=_heel_mg(making),
        fibre_per_pull_mg=_mean(mass for mass in weighed if mass),
        minutes=minutes,
        draw_um=_mean(_draws(making, trials, mould, fibre)),
        across=_mean(across for across, _ in sides if across is not None),
        along=_mean(along for _, along in sides if along is not None),
        **counts,
    )


def _mean(numbers: Iterable[Fraction]) -> Fraction | None:
    known = list(numbers)
    return sum(known, Fraction(0)) / len(known) if known else None


def _heel_mg(making: Making) -> int | None:
    """Return what was left in the vat, oven-dry; None where it was not weighed.

    What was kept is a lot, and has been put right as every lot is.
    """
    if making.heel == Heel.NONE:
        return 0
    if making.heel_lot is not None:
        return making.heel_lot.received_oven_dry_mg
    if making.heel_as_is_mg is None or making.heel_moisture is None:
        return None
    return wet.oven_dry_mg(making.heel_as_is_mg, making.heel_moisture)


def _draws(
    making: Making, trials: list[TrialSheet], mould: Mould | None, fibre: Fraction
) -> Iterable[Fraction]:
    """Yield the draw in micrometres of each weighed sheet whose vat's consistency is known."""
    for trial in trials:
        consistency = trial.consistency
        if consistency is None and trial.number == TrialSheet.FIRST_PULL:
            consistency = making.consistency
        mass = round(trial.oven_dry_mg * fibre)
        if mould is not None and consistency and mass:
            thick = Q(consistency * GRAMS_PER_LITRE, "g/L")
            draw = vat.effective_draw(mass, Size(mould.width_um, mould.height_um), thick)
            yield Fraction(draw.to("um").magnitude)


def _shrunk(trial: TrialSheet, mould: Mould) -> tuple[Fraction | None, Fraction | None]:
    across, along = (
        onemaking.shrinkage(opening, dry) if opening and dry else None
        for opening, dry in (
            (mould.width_um, trial.width_um),
            (mould.height_um, trial.height_um),
        )
    )
    return across, along
