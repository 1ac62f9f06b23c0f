"""What finished makings cost: fibre by the book, hours, doses and sheets as they were noted."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import Sum

from fibres.calc import moisture as wet
from fibres.models import Addition, Lot
from orders import bookcosts, costings
from orders.calc.actual import Actual, Quoted, Spent, compare, reckoned_spend
from orders.calc.costrows import Rates
from orders.calc.quotation import Quotation
from orders.makings.standing import sheets_made, standing
from orders.models import Commission, Dose, Issue, Making, Post, Quote, SheetMovement, Spell
from studio.context import units_here
from studio.models import Studio
from studio.units import show_mass

MG_PER_KG = Decimal(1_000_000)
MINUTES, LITRES_PER_M3 = Decimal(60), Decimal(1000)
NOTHING = Decimal(0)
Quality = SheetMovement.Quality


def of_commission(commission: Commission) -> Actual | None:
    """Return what its finished makings cost, beside the reckoning; None before one is finished."""
    makings = finished(commission.makings.all())
    return _compare(makings, commission) if makings else None


def of_making(making: Making) -> Actual | None:
    """Return what one making cost, beside the reckoning; None before it is finished."""
    makings = finished(Making.objects.filter(pk=making.pk))
    return _compare(makings, making.commission) if makings else None


def finished(makings: Iterable[Making]) -> list[Making]:
    """Return the makings among them that are finished, the first finished first."""
    rows = Making.objects.filter(
        pk__in=[making.pk for making in makings], state=Making.State.FINISHED
    )
    joined = rows.select_related("sheet__mould", "sheet__furnish", "broke_lot", "heel_lot")
    return list(joined.order_by("finished_on", "pk"))


def quoted_for(commission: Commission | None) -> Quoted | None:
    """Return the cost that the quote accepted for a commission was made on, if it is kept."""
    if commission is None:
        return None
    quotes = commission.quotes.filter(state=Quote.State.ACCEPTED).select_related("document")
    quote = quotes.first()
    if quote is None or quote.frozen is None or not quote.accepted_quantity:
        return None
    found = Quotation.from_json(quote.frozen)
    price = next((one for one in found.prices if one.sheets == quote.accepted_quantity), None)
    if price is None or price.cost_minor is None:
        return None
    return Quoted(quote.ref, price.sheets, found.terms.currency, price.cost_minor)


def _compare(makings: Sequence[Making], commission: Commission | None) -> Actual:
    """Set makings of one sheet beside what so many good ones are reckoned to cost now."""
    agreed = commission.agreed_price_minor if commission else None
    costing = costings.read(makings[0].sheet)
    studio = costing.studio
    case = costing.case(sum(making.wanted_good for making in makings))
    cost = case.cost()
    spent = _Noted(makings, studio, costing.rates)
    return compare(
        reckoned_spend(case),
        spent.read(),
        currency=studio.currency,
        price_minor=cost.price_minor_per_sheet if agreed is None else agreed,
        is_agreed=agreed is not None,
        missing=tuple(dict.fromkeys([*cost.missing, *spent.missing])),
        system=units_here(studio),
        quoted=quoted_for(commission),
    )


@dataclass(slots=True)
class _Noted:
    """What was noted of makings, added up; ``missing`` names what no price is known for."""

    makings: Sequence[Making]
    studio: Studio
    rates: Rates
    missing: list[str] = field(default_factory=list)
    fibre_mg: int = 0
    usable_mg: int = 0
    fibre_minor: Decimal = NOTHING
    sorting: Decimal = NOTHING

    def read(self) -> Spent:
        """Read all of it in a number of queries that does not grow with the makings."""
        self._issues()
        made = sheets_made([making.pk for making in self.makings])
        good, retree = (
            sum(sheets for (_, quality), sheets in made.items() if quality == wanted)
            for wanted in (Quality.GOOD, Quality.RETREE)
        )
        pulls = self._pulls()
        minutes, hours_note = self._minutes(pulls)
        recovered, kept_note = self._kept()
        additions, dose_note = self._doses()
        hours, all_pulls, rates = minutes / MINUTES, sum(pulls.values()), self.rates
        kwh = self.usable_mg / MG_PER_KG * rates.kwh_per_kg + all_pulls * rates.kwh_per_pull
        litres = all_pulls * rates.litres_per_pull
        return Spent(
            good=good,
            pulls=all_pulls,
            fibre_mg=self.fibre_mg,
            fibre_minor=self.fibre_minor,
            recovered_minor=recovered,
            additions_minor=additions,
            minutes=minutes,
            labour_minor=hours * rates.hourly_rate_minor,
            overhead_minor=hours * rates.overhead_minor_per_hour,
            energy_water_minor=kwh * rates.minor_per_kwh
            + litres / LITRES_PER_M3 * rates.minor_per_m3,
            packing_minor=good * rates.packing_minor_per_sheet,
            retree=retree,
            notes=(
                ("fibre", self._fibre_note()),
                ("labour", hours_note),
                ("recovered", kept_note),
                ("additions", dose_note),
            ),
        )

    def _issues(self) -> None:
        """Add up what stands of the issues, each at what the book has it at."""
        issues = list(
            Issue.objects.filter(making__in=[making.pk for making in self.makings])
            .select_related("movement", "lot__fibre")
            .order_by("pk")
        )
        stands = standing(issue.movement for issue in issues if issue.movement)
        store = bookcosts.read(self.studio.book_cost, {issue.lot.fibre_id for issue in issues})
        for issue in issues:
            now = stands.get(issue.movement_id)
            if now is None:
                continue
            lot, mg = issue.lot, -now.oven_dry_mg
            out = store.out_of(now.pk, lot.ref)
            self.fibre_mg += mg
            self.fibre_minor += out.minor
            self.usable_mg += wet.usable_mg(mg, lot.yield_now)
            if lot.received_oven_dry_mg:
                self.sorting += lot.sorting_minutes * mg / lot.received_oven_dry_mg
            if out.unpriced_mg:
                self.missing.append(lot.fibre.name)

    def _fibre_note(self) -> str:
        way = "first in first out" if self.studio.book_cost == "fifo" else "at the moving average"
        return f"by the book, {way}"

    def _pulls(self) -> dict[int, int]:
        """Return the pulls that were counted, by the key of the making; those planned if none."""
        keys = [making.pk for making in self.makings]
        rows = Post.objects.filter(making__in=keys).order_by().values_list("making")
        counted = dict(rows.annotate(all=Sum("pulls")))
        return {making.pk: counted.get(making.pk) or making.pulls for making in self.makings}

    def _minutes(self, pulls: dict[int, int]) -> tuple[Decimal, str]:
        """Return the minutes that were noted; where none were, those reckoned for its pulls."""
        noted: dict[int, dict[str, Decimal]] = defaultdict(dict)
        keys = [making.pk for making in self.makings]
        rows = Spell.objects.filter(making__in=keys, minutes__gt=0)
        for making, operation, spent in rows.values_list("making_id", "operation", "minutes"):
            noted[making][operation] = spent
        minutes, notes = self.sorting, []
        for making in self.makings:
            spells = noted.get(making.pk, {})
            work = [spent for name, spent in spells.items() if name != Spell.Operation.SET_UP]
            if not work:
                none = "nothing but setting up was" if spells else "no minutes were"
                notes.append(f"{none} noted of {making.ref}: those usual for its pulls")
            minutes += sum(work, NOTHING) or pulls[making.pk] * self.rates.minutes_per_pull
            setup = spells.get(Spell.Operation.SET_UP)
            if setup is None and work:
                notes.append(f"setting up {making.ref} was not noted: the usual minutes")
            minutes += self.rates.setup_minutes if setup is None else setup
        if self.sorting:
            notes.append("sorting of its fibre counted")
        return minutes, "; ".join(notes)

    def _kept(self) -> tuple[Decimal, str]:
        """Return what heel and broke that were kept stand at in the book."""
        lots = [lot for one in self.makings for lot in (one.heel_lot, one.broke_lot) if lot]
        if not lots:
            return NOTHING, "nothing was kept"
        return (
            sum((Decimal(lot.paid_minor or 0) for lot in lots), NOTHING),
            "; ".join(self._kept_words(lot) for lot in lots),
        )

    def _kept_words(self, lot: Lot) -> str:
        mass = show_mass(lot.received_oven_dry_mg, system=units_here(self.studio))
        if lot.paid_minor:
            return f"{mass} was kept as {lot.ref}, at what the book has it at"
        return (
            f"{mass} was kept as {lot.ref}, which the book has at nothing: its fibre is paid for "
            "here, and free to the next making"
        )

    def _doses(self) -> tuple[Decimal, str]:
        """Return what was dosed, at the prices of the furnish."""
        furnish = self.makings[0].sheet.furnish_id
        prices = dict(Addition.objects.filter(furnish=furnish).values_list("name", "minor_per_kg"))
        rows = Dose.objects.filter(making__in=[making.pk for making in self.makings])
        total, masses = NOTHING, defaultdict(int)
        for name, mass in rows.order_by("pk").values_list("name", "mass_mg"):
            masses[name] += mass
        for name, mass in masses.items():
            if prices.get(name) is None:
                self.missing.append(name)
            total += mass / MG_PER_KG * Decimal(prices.get(name) or 0)
        words = ", ".join(
            f"{show_mass(mass, system=units_here(self.studio))} of {name}"
            for name, mass in masses.items()
        )
        return total, f"{words} was dosed" if words else "no dose was noted"
