"""The making sheet: all of a run at the vat on one page, for the wall, the screen and a terminal.

A frozen object that holds the figures; page, print and command show the same one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import groupby
from typing import Any, NamedTuple

from orders.calc import _makingtext
from orders.calc.forming import Forming
from orders.calc.loads import Loads
from orders.calc.vatrows import TopUp
from studio.sizes import Size
from studio.units import Q, Quantity, System, show_count, show_mass, show_number, show_volume
from studio.working import Line

MOST_BLOCKS = 16
# Litres below which nothing is poured.
DROP = Decimal("0.0005")


@dataclass(frozen=True, slots=True)
class WeighOut:
    """What is weighed out of one lot, as it lies there; masses are milligrams.

    ``is_done`` where it lies weighed out already, ``is_on_its_way`` where it has not come yet.
    """

    fibre: str
    lot: str
    place: str
    as_is_mg: int
    oven_dry_mg: int
    moisture: Decimal
    is_done: bool = False
    is_on_its_way: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """Fibre that no lot holds for this run, oven-dry."""

    fibre: str
    oven_dry_mg: int


@dataclass(frozen=True, slots=True)
class DoseOut:
    """What is added beside fibre: dosed on dry fibre, weighed dry."""

    name: str
    kind: str
    dose: Decimal
    mass_mg: int


@dataclass(frozen=True, slots=True)
class DryerLoads:
    """How often the dryer is filled, and for how long that keeps it."""

    name: str
    count: int
    pulls_per_load: int
    days: Decimal


@dataclass(frozen=True, slots=True)
class Block:
    """Pulls that are ticked off together, and the top-ups that fall among or after them."""

    first: int
    last: int
    top_ups: tuple[TopUp, ...] = ()

    def scoops(self, system: System = "metric") -> str:
        """Return how much stuff tops up the vat in this block; nothing where none does.

        The last scoop may be smaller than those before it: "7 × 5.06 L, 1.06 L".
        """
        poured = (one.thick_l for one in self.top_ups if one.thick_l >= DROP)
        alike = groupby(poured, key=lambda litres: _volume(litres, system))
        scoops = ((len(tuple(times)), scoop) for scoop, times in alike)
        return ", ".join(f"{times} × {scoop}" if times > 1 else scoop for times, scoop in scoops)


class TrialWords(NamedTuple):
    """What a sheet has to weigh, in words."""

    wet: str
    dry: str
    least: str
    most: str


@dataclass(frozen=True, slots=True)
class HeelKeeps:
    """The last day of a wet heel: so many days from when the making is finished."""

    fibre: str
    days: int
    until: date
    is_finished: bool = False

    @property
    def words(self) -> str:
        """Say until when it keeps, as which fibre, and from which day that counts."""
        until, days = _makingtext.day_words(self.until), show_count(self.days, "day")
        if self.is_finished:
            return (
                f"Wet, as {self.fibre}, it keeps until {until}: {days} from the day the making "
                "was finished"
            )
        return (
            f"Wet, as {self.fibre}, it keeps {days} from the day the making is finished: until "
            f"{until}, if that is its day at the vat"
        )


@dataclass(frozen=True, slots=True)
class About:
    """Which run it is, of which sheet, and with what it is made."""

    ref: str
    title: str
    commission: str
    state: str
    planned_on: date
    sheet: str
    size: Size
    grammage: Decimal
    furnish: str
    mould: str
    vat: str
    drying: str
    wanted_good: int


@dataclass(frozen=True, slots=True)
class MakingSheet:
    """Everything for one run at the vat; ``heel_keeps`` is the last day of its wet heel.

    ``reckoned_with`` are the figures that makings can teach, each with where it comes from.
    ``clashes`` say what is in its way, ``holding`` what fibre it holds.
    """

    about: About
    forming: Forming
    weigh: tuple[WeighOut, ...]
    missing: tuple[Missing, ...] = ()
    soak: tuple[str, ...] = ()
    doses: tuple[DoseOut, ...] = ()
    beater: Loads | None = None
    blender: Loads | None = None
    dryer: DryerLoads | None = None
    heel_keeps: HeelKeeps | None = None
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    reckoned_with: tuple[Line, ...] = ()
    clashes: tuple[str, ...] = ()
    holding: str = ""

    @property
    def as_is_mg(self) -> int:
        """All that is weighed out, as it lies in the store."""
        return sum(row.as_is_mg for row in self.weigh)

    @property
    def oven_dry_mg(self) -> int:
        """All that is weighed out, without water."""
        return sum(row.oven_dry_mg for row in self.weigh)

    @property
    def water(self) -> Quantity:
        """Water that makes up the stuff, beside what the lots bring along."""
        return self.forming.water_for(self.as_is_mg)

    @property
    def top_ups(self) -> tuple[TopUp, ...]:
        """Every top-up of the vat; none where no vat is chosen."""
        charge = self.forming.charge
        return () if charge is None else charge.schedule

    @property
    def blocks(self) -> tuple[Block, ...]:
        """The pulls in blocks to tick off: one for each top-up, or several to a block."""
        pulls, top_ups = self.forming.asked.pulls, self.top_ups
        if not top_ups:
            return tuple(_blocks(pulls, _round_step(pulls), ()))
        step = top_ups[0].after * math.ceil((len(top_ups) + 1) / MOST_BLOCKS)
        return tuple(_blocks(pulls, step, top_ups))

    def load_words(self, system: System = "metric") -> list[str]:
        """Say how the fibre is beaten: in the beater, or, too little for it, in a blender."""
        said = []
        if self.beater is not None:
            each = show_mass(self.beater.each_mg, system=system)
            water = _volume(self.beater.litres_each, system)
            loads = f"{_counted(self.beater.count, 'beater load')} of {each} in {water}"
            said.append(loads + self._made_up(system))
        if self.blender is not None:
            each = show_mass(self.blender.each_mg, system=system)
            water = _volume(self.blender.litres_each, system)
            said.append(
                f"Too little for the beater: {_counted(self.blender.count, 'blender load')} of "
                f"{each} in {water}"
            )
        return said

    def _made_up(self, system: System) -> str:
        """Say how much more the smallest load of the beater takes than the run does."""
        if self.beater is None or not self.beater.left_over_mg:
            return ""
        all_loads, over = (
            show_mass(mass, system=system)
            for mass in (self.beater.loaded_mg, self.beater.left_over_mg)
        )
        return f": {all_loads} in all, {over} more than the run takes; keep what is over"

    def vat_words(self, system: System = "metric") -> list[str]:
        """Say how the vat is charged, topped up, and what is left in it."""
        forming, charge = self.forming, self.forming.charge
        if charge is None:
            return [f"Work it at {_makingtext.consistency_words(self)}"]
        left = show_mass(round(forming.heel_mg), system=system)
        return [
            f"Charge it with {_volume(forming.charge_stuff.magnitude, system)} of stuff and "
            f"{_volume(forming.charge_water.magnitude, system)} of water: {left} of fibre",
            f"It stands at {_makingtext.consistency_words(self)}",
            *self._top_up_words(system),
            f"Left at the end: about {_left_words(forming, system)}; strain it, and say whether "
            f"it is kept{self._keeping_words}",
        ]

    @property
    def _keeping_words(self) -> str:
        return f". {self.heel_keeps.words}" if self.heel_keeps else ""

    def _top_up_words(self, system: System) -> list[str]:
        if not self.top_ups:
            return ["It needs no topping up"]
        first = self.top_ups[0]
        often = "every pull" if first.after == 1 else f"every {first.after} pulls"
        said = [f"Top up with {_volume(first.thick_l, system)} of stuff after {often}"]
        if first.draw_off_l:
            said.append(
                f"Draw off {_volume(first.draw_off_l, system)} through a sieve each time first, "
                "so that the level stays"
            )
        elif first.clear_water_l:
            said.append(f"Add {_volume(first.clear_water_l, system)} of clear water each time")
        return [*said, *self._last_scoop_words(system)]

    def _last_scoop_words(self, system: System) -> list[str]:
        """Say how the last scoop differs, if it does, and what goes with it."""
        first, last = self.top_ups[0], self.top_ups[-1]
        if last.draw_off_l == first.draw_off_l and last.thick_l == first.thick_l:
            return []
        scoop = _volume(last.thick_l, system) if last.thick_l >= DROP else "no stuff"
        if last.draw_off_l >= DROP:
            beside = f"after drawing off {_volume(last.draw_off_l, system)}"
        elif first.draw_off_l:
            beside = "draw nothing off before it"
        else:
            beside = f"with {_volume(last.clear_water_l, system)} of clear water"
        return [f"The last one is smaller: {scoop}, {beside}"]

    def trial_words(self, system: System = "metric") -> TrialWords:
        """Say what a sheet weighs, all in one unit: it is compared on one scale."""
        trial = self.forming.trial
        return TrialWords(
            *(
                show_mass(mass, unit="oz" if system == "US" else "g", places=2)
                for mass in (trial.wet_mg, trial.dry_mg, trial.least_mg, trial.most_mg)
            )
        )

    @property
    def origin_words(self) -> tuple[str, ...]:
        """Say what it is reckoned with, the figures that come from the same together."""
        groups: dict[str, list[str]] = {}
        for line in self.reckoned_with:
            label = line.label[:1].lower() + line.label[1:]
            groups.setdefault(line.because, []).append(f"{label} {line.value}")
        return tuple(
            f"{origin[:1].upper()}{origin[1:]}: {', '.join(figures)}"
            for origin, figures in groups.items()
        )

    @property
    def dryer_words(self) -> str:
        """Say how often the dryer is filled; nothing where none is chosen."""
        if self.dryer is None:
            return ""
        loads = _counted(self.dryer.count, "load")
        days = show_number(self.dryer.days)
        of = f" of {self.dryer.pulls_per_load} pulls" if self.dryer.count > 1 else ""
        return f"{self.dryer.name}: {loads}{of}, {days} day{'' if self.dryer.days == 1 else 's'}"

    def as_text(self, system: System = "metric") -> list[str]:
        """Return the sheet as lines for a terminal."""
        return list(_makingtext.lines(self, system))

    def as_json(self) -> dict[str, Any]:
        """Return the sheet as plain values, the units in the keys."""
        forming = self.forming
        return {
            "ref": self.about.ref,
            "commission": self.about.commission or None,
            "planned_on": self.about.planned_on.isoformat(),
            "good_sheets": self.about.wanted_good,
            "pulls": forming.asked.pulls,
            "trial_pulls": forming.asked.trial_pulls,
            "fibre_order_g": _grams(round(forming.order_mg)),
            "fibre_trial_g": _grams(round(forming.trial_mg)),
            "fibre_heel_g": _grams(round(forming.heel_mg)),
            "left_in_vat_g": _grams(forming.left_in_vat_mg),
            "left_in_stuff_g": _grams(forming.left_in_stuff_mg),
            "heel_keeps_until": self.heel_keeps.until.isoformat() if self.heel_keeps else None,
            "fibre_g": _grams(forming.total_mg),
            "consistency_g_per_l": float(forming.consistency.magnitude),
            **self._weighed_json(),
            "stuff_l": float(forming.stuff.magnitude),
            "water_l": float(self.water.magnitude),
            "charge": None if forming.charge is None else forming.charge.as_json(),
            **self._trial_json(),
            "beater_loads": self.beater.count if self.beater else None,
            "blender_loads": self.blender.count if self.blender else None,
            "dryer_loads": self.dryer.count if self.dryer else None,
            "look_first": list(self.clashes),
            "origins": {line.label: line.because for line in self.reckoned_with},
        }

    def _weighed_json(self) -> dict[str, Any]:
        """Return what is weighed out of which lot, what is lacking, and the doses."""
        return {
            "weigh": [
                {
                    "lot": row.lot, "fibre": row.fibre, "place": row.place,
                    "as_is_g": _grams(row.as_is_mg), "oven_dry_g": _grams(row.oven_dry_mg),
                    "moisture": float(row.moisture),
                }
                for row in self.weigh
            ],
            "missing": [
                {"fibre": lack.fibre, "oven_dry_g": _grams(lack.oven_dry_mg)}
                for lack in self.missing
            ],
            "doses": [{"name": dose.name, "g": _grams(dose.mass_mg)} for dose in self.doses],
        }  # fmt: skip

    def _trial_json(self) -> dict[str, Any]:
        """Return what a trial sheet weighs, wet and dry, and within which limits."""
        trial = self.forming.trial
        return {
            "trial_wet_g": _grams(trial.wet_mg),
            "trial_dry_g": _grams(trial.dry_mg),
            "trial_least_g": _grams(trial.least_mg),
            "trial_most_g": _grams(trial.most_mg),
        }


def _left_words(forming: Forming, system: System = "metric") -> str:
    """Say how much fibre is over at the end, in the vat and in the stuff."""
    said = f"{show_mass(forming.left_in_vat_mg, system=system)} of fibre in the vat"
    if not forming.left_in_stuff_mg:
        return said
    stuff = show_mass(forming.left_in_stuff_mg, system=system)
    return f"{said} and {stuff} in the stuff that was not poured"


def _grams(mass_mg: int) -> float:
    return mass_mg / 1000


def _round_step(pulls: int) -> int:
    """Return a round number of pulls that leaves few blocks."""
    return next(
        (step for step in (5, 10, 20, 25, 50, 100) if pulls <= step * MOST_BLOCKS),
        100 * math.ceil(pulls / 100 / MOST_BLOCKS),
    )


def _blocks(pulls: int, step: int, top_ups: Sequence[TopUp]) -> Iterator[Block]:
    for first in range(1, pulls + 1, step):
        last = min(first + step - 1, pulls)
        among = tuple(one for one in top_ups if first <= one.after <= last)
        yield Block(first, last, among)


def _volume(litres: Decimal, system: System) -> str:
    """Word a volume as finely as it can be poured: a tenth of a litre, or ten millilitres."""
    fine = 1 if litres >= 10 else 2
    return show_volume(Q(litres, "L"), system=system, places=fine if litres >= 1 else 0)


def _counted(count: int, noun: str) -> str:
    return f"{show_number(count)} {noun}{'' if count == 1 else 's'}"
