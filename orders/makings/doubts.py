"""What looks like a slip when it is entered at the vat: it is asked about, and may be so.

The limits are far enough from what is usual that only a wrong unit, digit or lot reaches them;
common practice, no source.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from django.db.models import Sum

from fibres.calc import moisture as wet
from fibres.models import Addition, Lot
from orders.calc.spec import SheetSpec
from orders.makings import planning
from orders.makings.planning import spec_of
from orders.models import Making
from studio.units import (
    Q,
    Quantity,
    System,
    show_count,
    show_grammage,
    show_mass,
    show_share,
    show_volume,
)

FAR_OFF = 5
# Points by which a lot seldom dries or draws water between two weighings; 0 is asked about too.
FAR_MOISTURE = Decimal("0.1")
# More pulls than this share of the plan, or of what the fibre gives, are no trial pulls any more.
MANY_PULLS = Fraction(3, 2)
FEW_PULLS = 10


def of_trial(making: Making, mass_mg: int, moisture: Decimal, *, system: System = "metric") -> str:
    """Ask about a weighed sheet that is far from its grammage over the area of a pull."""
    spec = spec_of(making)
    whole = (1 - Fraction(spec.non_fibre_share)) * (1 - Fraction(moisture))
    usual_mg = round(spec.fibre_per_pull_mg / whole)
    if usual_mg <= mass_mg * FAR_OFF and mass_mg <= usual_mg * FAR_OFF:
        return ""
    unit = "oz" if system == "US" else "g"
    usual, least, most = (
        show_mass(mass, unit=unit, places=2)
        for mass in (usual_mg, usual_mg // FAR_OFF, usual_mg * FAR_OFF)
    )
    return (
        f"{show_mass(mass_mg, system=system)} is far from what a whole pull weighs at "
        f"{show_grammage(spec.grammage)}, about {usual}; {least} to {most} is taken without "
        "asking. Look at the figure and its unit."
    )


def of_pulls(making: Making, *, spec: SheetSpec | None = None) -> str:
    """Ask about pulls that are too few for what is wanted, were every sheet of them good."""
    spec = spec or spec_of(making)
    if making.pulls * pieces_of(spec) >= making.wanted_good:
        return ""
    enough = planning.safe_pulls(spec, making.wanted_good)
    return (
        f"{planning.few_pulls_words(spec, making.pulls, making.wanted_good)} "
        f"{show_count(enough, 'pull')} would be enough; left empty, that is taken."
    )


def of_moisture(lot: Lot, moisture: Decimal | None) -> str:
    """Ask about a moisture far from the book's: the fibre of the making follows from it."""
    if moisture is None or moisture == lot.moisture:
        return ""
    if moisture and abs(moisture - lot.moisture) <= FAR_MOISTURE:
        return ""
    return (
        f"{show_share(moisture)} is far from the {show_share(lot.moisture)} that the book has for "
        f"{lot.ref}. Leave it empty where the lot was not weighed and dried today."
    )


def of_dose(making: Making, name: str, mass_mg: int, *, system: System = "metric") -> str:
    """Ask about an addition far beyond its dose; where it has none, beyond the fibre itself."""
    fibre_mg, known = max(weighed_out(making), planned(making))
    addition = Addition.objects.filter(
        furnish=making.sheet.furnish_id, name__iexact=" ".join(name.split())
    ).first()
    limit_mg, why = fibre_mg, f"the fibre itself, {show_mass(fibre_mg, system=system)} {known}"
    if addition is not None and addition.dose:
        limit_mg = round(Fraction(addition.dose) * fibre_mg * FAR_OFF)
        why = (
            f"{show_mass(limit_mg, system=system)}, {FAR_OFF} times the "
            f"{show_share(addition.dose)} that the furnish asks for on "
            f"{show_mass(fibre_mg, system=system)} of fibre {known}"
        )
    if not limit_mg or mass_mg <= limit_mg:
        return ""
    return (
        f"{show_mass(mass_mg, system=system)} is more than {why}. Look at the figure and its unit."
    )


def of_kept(
    making: Making,
    as_is_mg: int,
    moisture: Decimal | None,
    *,
    beside_mg: int = 0,
    system: System = "metric",
) -> str:
    """Ask about heel or broke that holds more fibre than went in; ``beside_mg`` is the other."""
    if moisture is None:
        return ""
    fibre_mg, known = weighed_out(making)
    if not fibre_mg:
        fibre_mg, known = planned(making)
    limit_mg = fibre_mg + added_mg(making) - beside_mg
    dry_mg = wet.oven_dry_mg(as_is_mg, moisture)
    if dry_mg <= limit_mg:
        return ""
    beside = f" beside {show_mass(beside_mg, system=system)} kept otherwise" if beside_mg else ""
    return (
        f"{show_mass(as_is_mg, system=system)} at {show_share(moisture)} holds "
        f"{show_mass(dry_mg, system=system)} oven-dry, more than can be there: at most "
        f"{show_mass(max(limit_mg, 0), system=system)}, from what is {known}{beside}. Look at "
        "mass and moisture: drained pulp is mostly water."
    )


def of_litres(making: Making, litres: Quantity, *, system: System = "metric") -> str:
    """Ask about a volume thrown away that the vat does not hold."""
    vat = making.vat
    if vat is None or litres.to("L").magnitude <= vat.litres:
        return ""
    holds = show_volume(Q(vat.litres, "L"), system=system, places=0)
    return (
        f"{show_volume(litres, system=system)} is more than {vat.name} holds, {holds}. Look at "
        "the figure and its unit; only stuff that was thrown away with it can make it more."
    )


def of_counts(
    making: Making, counted: dict[str, int], *, spec: SheetSpec | None = None
) -> list[str]:
    """Ask about more sheets than pulls, and more pulls than were planned or the fibre can give."""
    spec = spec or spec_of(making)
    pulls, sorted_ = counted["pulls"], counted["good"] + counted["retree"] + counted["broke"]
    formed = pulls * pieces_of(spec)
    found = []
    if sorted_ > formed:
        verb = "was" if sorted_ == 1 else "were"
        found.append(
            f"{show_count(sorted_, 'sheet')} {verb} sorted and {show_count(formed, 'sheet')} "
            "formed. Count the pulls again."
        )
    if pulls > max(making.pulls * MANY_PULLS, making.pulls + FEW_PULLS):
        found.append(
            f"{show_count(pulls, 'pull')} are counted and {show_count(making.pulls, 'pull')} "
            "planned. Is it so? Else take back what is too much."
        )
    issued_mg, _ = weighed_out(making)
    given = int(issued_mg / spec.fibre_per_pull_mg)
    if issued_mg and pulls > max(given * MANY_PULLS, given + FEW_PULLS):
        found.append(
            f"{show_count(pulls, 'pull')} are counted, and the fibre weighed out gives about "
            f"{show_count(given, 'pull')}. Enter what else was weighed out, or count again."
        )
    return found


def pieces_of(spec: SheetSpec) -> int:
    """Return the finished sheets of one pull."""
    return 1 if spec.layout is None else spec.layout.pieces


def weighed_out(making: Making) -> tuple[int, str]:
    """Return the fibre weighed out for a making that is not over, oven-dry, and its word."""
    return making.issues.aggregate(mass=Sum("oven_dry_mg"))["mass"] or 0, "weighed out"


def planned(making: Making) -> tuple[int, str]:
    """Return the fibre that its pulls take, oven-dry, and its word."""
    return round(spec_of(making).drawn_per_pull_mg * making.pulls), "planned"


def added_mg(making: Making) -> int:
    """Return what was added beside fibre, dry."""
    return making.doses.aggregate(mass=Sum("mass_mg"))["mass"] or 0
