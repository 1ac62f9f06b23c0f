"""How promises stand: the frozen answer about cover, and its JSON."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from orders.calc.sureness import Sureness, chance_of_cover

COVERED, JUST_COVERED, LATER, SHORT = "covered", "just covered", "later", "short"


@dataclass(frozen=True, slots=True)
class Pick:
    """What a commission takes from one lot; as-is is what to weigh out."""

    lot: str
    fibre: str
    usable_mg: int
    oven_dry_mg: int
    as_is_mg: int


@dataclass(frozen=True, slots=True)
class Lack:
    """What is missing of one line of the furnish, on the day it is needed."""

    fibres: tuple[str, ...]
    usable_mg: int
    oven_dry_mg: int


@dataclass(frozen=True, slots=True)
class Answer:
    """How one commission stands; ``ready_on`` is the first day its whole need is there.

    ``free`` is what one that takes all or nothing, and was given nothing, would find in the
    store once the rest is there; what it is short of is that rest.

    ``weighed_sheets`` are those of ``wanted`` whose fibre lies weighed out at the vat; ``need_mg``
    is what the rest takes.

    ``sure`` works out what the chance of cover rests on, for who asks; None where the spread of
    a lot is not known.
    """

    ref: str
    due: date
    wanted: int
    state: str
    covered_sheets: int
    ready_on: date | None
    need_mg: int
    short: tuple[Lack, ...]
    picks: tuple[Pick, ...]
    free: tuple[Pick, ...] = ()
    needed_on: date | None = None
    weighed_sheets: int = 0
    sure: Callable[[], Sureness | None] | None = field(default=None, repr=False, compare=False)

    @property
    def fibre_day(self) -> date:
        """The day on which it draws its fibre; the day due where no other is known."""
        return self.due if self.needed_on is None else self.needed_on

    @property
    def sureness(self) -> Sureness | None:
        """What the chance is worked out from; None where a spread is not known."""
        return None if self.sure is None else self.sure()

    @property
    def chance(self) -> float | None:
        """The chance that what is held, and what is free to it, makes what is wanted."""
        sureness = self.sureness
        return None if sureness is None else chance_of_cover(sureness)


@dataclass(frozen=True, slots=True)
class Binding:
    """Why commissions are short: together they need more of these fibres than lots can give."""

    fibres: tuple[str, ...]
    need_mg: int
    supply_mg: int
    commissions: tuple[str, ...]
    lots: tuple[str, ...]

    @property
    def short_mg(self) -> int:
        """Usable fibre that is missing."""
        return self.need_mg - self.supply_mg


@dataclass(frozen=True, slots=True)
class Cover:
    """The answer for all commissions, in the order they were served."""

    today: date
    commissions: tuple[Answer, ...]
    binding: tuple[Binding, ...]
    lot_cost_minor: int
    extra_good_sheets: int | None = None
    left_out: tuple[tuple[str, str], ...] = ()

    @property
    def all_covered(self) -> bool:
        """Whether every commission is covered by its day."""
        return not self.left_out and all(
            answer.state in (COVERED, JUST_COVERED) for answer in self.commissions
        )

    def of(self, ref: str) -> Answer | None:
        """Return the answer for one commission."""
        return next((answer for answer in self.commissions if answer.ref == ref), None)

    def as_json(self) -> dict[str, Any]:
        """Return the answer as plain values, keys as fixed in the schema, masses in grams."""
        plain: dict[str, Any] = {
            "today": self.today.isoformat(),
            "all_covered": self.all_covered,
            "lot_cost_minor": self.lot_cost_minor,
            "commissions": [_answer_json(answer) for answer in self.commissions],
            "binding": [
                {
                    "need_g": _grams(bind.need_mg),
                    "supply_g": _grams(bind.supply_mg),
                    "short_g": _grams(bind.short_mg),
                    "fibres": list(bind.fibres),
                    "commissions": list(bind.commissions),
                    "lots": list(bind.lots),
                }
                for bind in self.binding
            ],
        }
        if self.extra_good_sheets is not None:
            plain["extra_good_sheets"] = self.extra_good_sheets
        if self.left_out:
            plain["left_out"] = [{"ref": ref, "why": why} for ref, why in self.left_out]
        return plain


def _answer_json(answer: Answer) -> dict[str, Any]:
    return {
        "ref": answer.ref,
        "due": answer.due.isoformat(),
        "wanted": answer.wanted,
        "state": answer.state,
        "covered_sheets": answer.covered_sheets,
        "ready_on": answer.ready_on.isoformat() if answer.ready_on else None,
        "chance": answer.chance,
        "short": [
            {
                "fibres": list(lack.fibres),
                "usable_g": _grams(lack.usable_mg),
                "oven_dry_g": _grams(lack.oven_dry_mg),
            }
            for lack in answer.short
        ],
        "picks": [
            {
                "lot": pick.lot,
                "fibre": pick.fibre,
                "usable_g": _grams(pick.usable_mg),
                "oven_dry_g": _grams(pick.oven_dry_mg),
                "as_is_g": _grams(pick.as_is_mg),
            }
            for pick in answer.picks
        ],
    }


def _grams(mg: int) -> float:
    return mg / 1000
