"""What lies weighed out at the vat: it is off its lots, and stands for the sheets it makes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil

from fibres.calc import moisture as wet
from orders.calc.covered import Pick
from orders.calc.forming import form
from orders.calc.weighed import Run
from orders.makings.forming import Shrinkages, to_form
from orders.models import Commission, Issue, Making
from studio.errors import StudioError
from studio.models import Studio


@dataclass(frozen=True, slots=True)
class AtTheVat:
    """What is off its lot, oven-dry by lot; runs at the vat by commission; all by their keys."""

    gone_mg: dict[int, int]
    runs: dict[int, list[Run]]


def read(studio: Studio, shrinkages: Shrinkages) -> AtTheVat:
    """Read what open makings have been weighed out, and those at the vat for a commission."""
    issues = list(
        Issue.objects.filter(movement=None, making__state__in=Making.OPEN)
        .select_related("lot__fibre")
        .defer("lot__paid_minor")
        .order_by("pk")
    )
    gone: dict[int, int] = {}
    for issue in issues:
        gone[issue.lot_id] = gone.get(issue.lot_id, 0) + issue.oven_dry_mg
    weighed = usable_by_fibre(issues)
    makings = (
        Making.objects.filter(state=Making.State.AT_THE_VAT, commission__isnull=False)
        .select_related("sheet__mould", "mould", "vat")
        .order_by("pk")
    )
    runs: dict[int, list[Run]] = {}
    for making in makings:
        run = run_of(making, studio, shrinkages, weighed.get(making.pk, {}))
        runs.setdefault(making.commission_id, []).append(run)
    return AtTheVat(gone, runs)


def usable_by_fibre(issues: Iterable[Issue]) -> dict[int, dict[str, int]]:
    """Return the usable fibre weighed out, by the key of the making and the name of the fibre."""
    found: dict[int, dict[str, int]] = {}
    for issue in issues:
        of_it = found.setdefault(issue.making_id, {})
        name = issue.lot.fibre.name
        of_it[name] = of_it.get(name, 0) + wet.usable_mg(issue.oven_dry_mg, issue.lot.yield_now)
    return found


def weighed_picks(commission: Commission) -> tuple[Pick, ...]:
    """Return what lies weighed out for a commission, lot by lot, as planning picks lots."""
    if commission.pk is None:
        return ()
    rows = Issue.objects.filter(
        movement=None, making__state__in=Making.OPEN, making__commission=commission
    )
    return tuple(
        Pick(
            issue.lot.ref,
            issue.lot.fibre.name,
            wet.usable_mg(issue.oven_dry_mg, issue.lot.yield_now),
            issue.oven_dry_mg,
            issue.as_is_mg,
        )
        for issue in rows.select_related("lot__fibre").defer("lot__paid_minor").order_by("pk")
    )


def run_of(making: Making, studio: Studio, shrinkages: Shrinkages, weighed: dict[str, int]) -> Run:
    """Return a making as a run that is weighed out so far.

    One that cannot be reckoned is taken to be as large as what lies there.
    """
    try:
        forming = form(to_form(making, studio, shrinkages))
    except StudioError:
        lying = sum(weighed.values())
        # How many sheets that makes is not known.
        return Run(lying, lying, 0, weighed)
    return Run(forming.total_mg, ceil(forming.order_mg), making.pulls, weighed)
