"""What a making cost beside what it was reckoned to cost, line by line, with the reason.

A difference of fibre, or of hours, is parted in two: more or less of it at the price that was
reckoned, and another price of what was taken. The two add up to the difference exactly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from orders.calc._costparts import Run, hours_words
from orders.calc.costcase import CostCase
from studio.money import digits, show_money, whole_minor
from studio.units import System, show_mass, show_number, show_share
from studio.working import Line

MG_PER_KG = Decimal(1_000_000)
NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Spent:
    """What a number of good sheets took: fibre in oven-dry milligrams, amounts in minor units.

    ``notes`` say what the figures rest on, by the name of the line.
    """

    good: int
    pulls: int
    fibre_mg: int
    fibre_minor: Decimal
    recovered_minor: Decimal
    additions_minor: Decimal
    minutes: Decimal
    labour_minor: Decimal
    overhead_minor: Decimal
    energy_water_minor: Decimal
    packing_minor: Decimal
    retree: int = 0
    notes: tuple[tuple[str, str], ...] = ()

    @property
    def total_minor(self) -> Decimal:
        """All of it."""
        return (
            self.fibre_minor
            - self.recovered_minor
            + self.additions_minor
            + self.labour_minor
            + self.overhead_minor
            + self.energy_water_minor
            + self.packing_minor
        )

    @property
    def minor_per_sheet(self) -> Decimal | None:
        """What a good sheet cost; None where none came."""
        return self.total_minor / self.good if self.good else None


@dataclass(frozen=True, slots=True)
class ActualLine:
    """One line of the comparison, in minor units."""

    label: str
    reckoned: Decimal
    actual: Decimal
    reason: str

    @property
    def difference(self) -> Decimal:
        """How much more it came to; below 0 where it came to less."""
        return self.actual - self.reckoned


@dataclass(frozen=True, slots=True)
class Quoted:
    """What a good sheet was reckoned to cost when the quote that was accepted was issued."""

    ref: str
    sheets: int
    currency: str
    cost_minor: int


@dataclass(frozen=True, slots=True)
class Actual:
    """A making as reckoned and as it came; ``price_minor`` is that of a good sheet."""

    currency: str
    reckoned: Spent
    actual: Spent
    lines: tuple[ActualLine, ...]
    price_minor: int
    is_agreed: bool
    missing: tuple[str, ...] = ()
    quoted: Quoted | None = None

    @property
    def words(self) -> tuple[str, ...]:
        """Say in sentences what came of it."""
        return (self._sheets(), *self._cost(), *self._beside_quote())

    def _beside_quote(self) -> tuple[str, ...]:
        """Set the cost that the quote was made on beside the one that came."""
        quoted, each = self.quoted, self.actual.minor_per_sheet
        if quoted is None or each is None:
            return ()
        then = show_money(quoted.cost_minor, quoted.currency)
        said = f"{quoted.ref} reckoned with {then} a good sheet, at {show_number(quoted.sheets)}"
        apart = whole_minor(each) - quoted.cost_minor
        if quoted.currency != self.currency:
            return (f"{said}.",)
        if not apart:
            return (f"{said}: it came to as much.",)
        more = f"{show_money(abs(apart), self.currency)} {'more' if apart > 0 else 'less'}"
        return (f"{said}: it came to {more}.",)

    def _sheets(self) -> str:
        good, wanted = show_number(self.actual.good), show_number(self.reckoned.good)
        retree = f", and {show_number(self.actual.retree)} retree" if self.actual.retree else ""
        return f"{good} good sheets came of {wanted} that were reckoned with{retree}."

    def _cost(self) -> tuple[str, ...]:
        each, was = self.actual.minor_per_sheet, self.reckoned.minor_per_sheet
        if each is None or was is None:
            return ("No good sheet came of it, so there is no cost of one.",)
        # Rounded before they are set against each other, as they are read.
        now, then = whole_minor(each), whole_minor(was)
        cost, before, apart = (
            show_money(one, self.currency) for one in (now, then, abs(now - then))
        )
        more = f"{apart} {'more' if now > then else 'less'} than" if now != then else "as"
        said = f"A good sheet cost {cost}, {more} reckoned ({before})."
        kept = self.price_minor - now
        price, left = (show_money(one, self.currency) for one in (self.price_minor, abs(kept)))
        which = "agreed" if self.is_agreed else "reckoned"
        share = show_share(abs(kept) / self.price_minor) if self.price_minor else ""
        of_it = f", {share} of it" if share else ""
        if kept < 0:
            return (said, f"At the price of {price} that is {which}, each loses {left}{of_it}.")
        return (said, f"At the price of {price} that is {which}, each leaves {left}{of_it}.")

    def table_lines(self) -> tuple[Line, ...]:
        """Set it out as lines: what was reckoned, what came, and why."""
        rows = [
            Line(one.label, show_money(one.actual, self.currency), self._because(one))
            for one in self.lines
        ]
        total = show_money(self.actual.total_minor, self.currency)
        was = show_money(self.reckoned.total_minor, self.currency)
        return (*rows, Line("In all", total, f"{was} reckoned", "line"))

    def _because(self, one: ActualLine) -> str:
        return f"{show_money(one.reckoned, self.currency)} reckoned; {one.reason}"

    def as_json(self) -> dict[str, Any]:
        """Return plain numbers in whole units of the currency."""
        scale = -digits(self.currency)

        def major(minor: Decimal | int | None) -> float | None:
            return None if minor is None else round(float(Decimal(minor).scaleb(scale)), 6)

        return {
            "currency": self.currency,
            "good_reckoned": self.reckoned.good,
            "good": self.actual.good,
            "retree": self.actual.retree,
            "lines": [
                {
                    "part": one.label,
                    "reckoned": major(one.reckoned),
                    "actual": major(one.actual),
                    "difference": major(one.difference),
                    "reason": one.reason.replace("\u00a0", " "),
                }
                for one in self.lines
            ],
            "total_reckoned": major(self.reckoned.total_minor),
            "total": major(self.actual.total_minor),
            "per_sheet_reckoned": major(self.reckoned.minor_per_sheet),
            "per_sheet": major(self.actual.minor_per_sheet),
            "price_per_sheet": major(self.price_minor),
            "price_is_agreed": self.is_agreed,
            "no_price_for": list(self.missing),
            **self._quote_json(),
        }

    def _quote_json(self) -> dict[str, Any]:
        """Return what the accepted quote reckoned with; nothing where there is none."""
        if self.quoted is None:
            return {}
        quoted, places = self.quoted, digits(self.quoted.currency)
        return {
            "quote": quoted.ref,
            "quoted_sheets": quoted.sheets,
            "quoted_currency": quoted.currency,
            "per_sheet_quoted": float(Decimal(quoted.cost_minor).scaleb(-places)),
        }


def reckoned_spend(case: CostCase) -> Spent:
    """Return what a making is reckoned to spend, in the lines that a real one is kept by.

    Parameters
    ----------
    case : CostCase
        What the cost is reckoned from, in minor units.

    Returns
    -------
    Spent
        In minor units and oven-dry milligrams, for all good sheets.

    Raises
    ------
    RangeError
        If the case cannot be costed.

    Notes
    -----
    Trial sheets and the heel are fibre that is issued, and what is used again of heel and broke
    is a line of its own; the sum is the cost that :func:`orders.calc.costing.cost` has. Each line
    is the difference between two costs with one input left out, which is exact because the cost
    is linear in it. Source: definition.

    Examples
    --------
    >>> from orders.calc.costrows import FibrePrice, Rates
    >>> from orders.calc.spec import SheetSpec
    >>> from studio.sizes import Size
    >>> rates = Rates("GBP", Decimal(2000), Decimal(0), Decimal(60), Decimal(6))
    >>> spec = SheetSpec(Size(210_000, 297_000), Decimal(120))
    >>> fibre = FibrePrice("linter", Decimal(1), Decimal(1), Decimal(900))
    >>> found = reckoned_spend(CostCase(spec, 100, (fibre,), (), rates))
    >>> found.minutes, found.labour_minor
    (Decimal('744'), Decimal('24800.000000'))
    """
    cost, count = case.cost(), case.quantity
    amounts = {part.key: part.minor_per_sheet * count for part in cost.parts}
    bare = replace(case, additions=())
    rates = replace(case.rates, heel_recovered=NOTHING, broke_recovered=NOTHING)
    gross, net = _materials(replace(bare, rates=rates)), _materials(bare)
    rates = case.rates
    run = Run.of(case.spec, count, rates, None)
    charged = Decimal(run.sheet_mg + run.trial_mg + run.heel_mg)
    issued = [(one, one.share / one.preparation_yield * charged) for one in case.fibres]
    sorting = sum((one.sorting_minutes_per_kg * mg / MG_PER_KG for one, mg in issued), NOTHING)
    pulls = run.all_pulls
    return Spent(
        good=count,
        pulls=pulls,
        fibre_mg=round(sum((mg for _, mg in issued), NOTHING)),
        fibre_minor=gross,
        recovered_minor=gross - net,
        additions_minor=amounts["fibre"] + amounts["additions"] + amounts["waste"] - net,
        minutes=rates.setup_minutes + pulls * rates.minutes_per_pull + sorting,
        labour_minor=amounts["labour"],
        overhead_minor=amounts["overhead"],
        energy_water_minor=amounts["energy_water"],
        packing_minor=amounts["packing"],
    )


def _materials(case: CostCase) -> Decimal:
    wanted = ("fibre", "additions", "waste")
    found = (part.minor_per_sheet for part in case.cost().parts if part.key in wanted)
    return sum(found, NOTHING) * case.quantity


def compare(
    reckoned: Spent,
    actual: Spent,
    *,
    currency: str,
    price_minor: int,
    is_agreed: bool = False,
    missing: tuple[str, ...] = (),
    system: System = "metric",
    quoted: Quoted | None = None,
) -> Actual:
    """Return a making beside its reckoning, with the reason for each difference in words.

    Parameters
    ----------
    reckoned : Spent [minor units, mg]
        What was reckoned.
    actual : Spent [minor units, mg]
        What came; its notes say what the figures rest on.
    currency : str
        Its code.
    price_minor : int [minor units]
        Price of a good sheet, agreed or reckoned.
    is_agreed : bool
        Whether that price was agreed with the client.
    missing : sequence of str
        What no price is known for; counted as nothing.
    system : str
        The units that the words are in, ``metric`` or ``US``.
    quoted : Quoted [minor units]
        What the quote that was accepted reckoned with, where there is one.

    Returns
    -------
    Actual
        Lines in minor units; the differences of the lines add up to that of the whole.

    Raises
    ------
    Nothing
        Any two can be compared.

    Notes
    -----
    Amount effect (actual − reckoned amount) × reckoned price, price effect (actual − reckoned
    price) × actual amount. Source: definition; the parting is common practice, no source.

    Examples
    --------
    >>> one = Spent(10, 12, 1_000_000, *(Decimal(900), *[Decimal(0)] * 2), Decimal(60),
    ...             Decimal(2000), *[Decimal(0)] * 3)
    >>> other = replace(one, fibre_mg=1_100_000, fibre_minor=Decimal(990))
    >>> compare(one, other, currency="GBP", price_minor=400).lines[0].difference
    Decimal('90')
    """
    words = _Reasons(reckoned, actual, currency, system)
    fields = (
        ("Fibre issued", "fibre_minor", words.fibre()),
        ("Heel and broke kept", "recovered_minor", words.note("recovered", "as reckoned")),
        ("Sizing, filler and pigment", "additions_minor", words.note("additions", "as reckoned")),
        ("Hours at vat, press and table", "labour_minor", words.labour()),
        ("Rooms, felts and moulds", "overhead_minor", words.hours()),
        ("Energy and water", "energy_water_minor", words.pulls()),
        ("Packing", "packing_minor", words.packing()),
    )
    lines = []
    for label, name, reason in fields:
        before, now = getattr(reckoned, name), getattr(actual, name)
        if name == "recovered_minor":
            before, now = -before, -now
        if before or now:
            lines.append(ActualLine(label, before, now, reason))
    return Actual(
        currency, reckoned, actual, tuple(lines), price_minor, is_agreed, missing, quoted
    )


@dataclass(frozen=True, slots=True)
class _Reasons:
    """Why lines differ, in words."""

    reckoned: Spent
    actual: Spent
    currency: str
    system: System

    def note(self, name: str, otherwise: str) -> str:
        """Return what the maker of the figures noted of a line."""
        return dict(self.actual.notes).get(name, otherwise)

    def fibre(self) -> str:
        """Part the difference of fibre into mass and price of a kilogram."""
        was, now = self.reckoned, self.actual
        parted = _parted(
            (Decimal(was.fibre_mg), was.fibre_minor), (Decimal(now.fibre_mg), now.fibre_minor)
        )
        mass = show_mass(abs(now.fibre_mg - was.fibre_mg), system=self.system)
        word = "more" if now.fibre_mg > was.fibre_mg else "less"
        more = f"{mass} {word} was issued" if now.fibre_mg != was.fibre_mg else ""
        return self._effects(parted, more, "another price of its lots") + self._also("fibre")

    def labour(self) -> str:
        """Part the difference of hours into their number and their pay."""
        was, now = self.reckoned, self.actual
        parted = _parted((was.minutes, was.labour_minor), (now.minutes, now.labour_minor))
        return self._effects(parted, self.hours(), "another pay") + self._also("labour")

    def hours(self) -> str:
        """Say how many hours it took."""
        took, was = (hours_words(one.minutes) for one in (self.actual, self.reckoned))
        return f"{took}, {was} reckoned" if took != was else f"{took}, as reckoned"

    def pulls(self) -> str:
        """Say how many pulls it took."""
        took, was = (show_number(one.pulls) for one in (self.actual, self.reckoned))
        return f"{took} pulls with trial pulls, {was} reckoned"

    def packing(self) -> str:
        """Say for how many sheets."""
        took, was = (show_number(one.good) for one in (self.actual, self.reckoned))
        return f"{took} good sheets, {was} reckoned"

    def _also(self, name: str) -> str:
        note = self.note(name, "")
        return f"; {note}" if note else ""

    def _effects(self, parted: tuple[Decimal, Decimal], amount: str, price: str) -> str:
        shown = [
            (f"{words} ({self._signed(effect)})", effect)
            for words, effect in zip((amount, price), parted, strict=True)
            if words and show_money(effect, self.currency) != show_money(0, self.currency)
        ]
        if not shown:
            return amount or "as reckoned"
        return "; ".join(words for words, _ in shown)

    def _signed(self, effect: Decimal) -> str:
        return f"{'+' if effect > 0 else ''}{show_money(effect, self.currency)}"


def _parted(was: tuple[Decimal, Decimal], now: tuple[Decimal, Decimal]) -> tuple[Decimal, Decimal]:
    """Part a difference into that of the amount and that of the price of one."""
    whole = now[1] - was[1]
    if not was[0]:
        return NOTHING, whole
    by_amount = (now[0] - was[0]) * was[1] / was[0]
    return by_amount, whole - by_amount
