"""A plain reckoning of fibre and sheets, from what was weighed, counted and said alone.

It stands beside the store in ``test_mass.py`` and shares no arithmetic with it: each act says
here whether it must be refused, and what is there afterwards if it is not.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

# 0.210 m × 0.297 m × 120 g/m², of which 94 % is fibre: 7.035336 g in an A4 sheet.
A4_MG = Fraction(7_035_336, 1000)


def dry_of(as_is_mg: int, moisture: Decimal) -> int:
    """Return the oven-dry fibre of a mass as weighed."""
    return round(Fraction(as_is_mg) * (1 - Fraction(moisture)))


def as_is_of(oven_dry_mg: int, moisture: Decimal) -> int:
    """Return what so much oven-dry fibre weighs with its water."""
    return round(Fraction(oven_dry_mg) / (1 - Fraction(moisture)))


@dataclass
class Line:
    """A line of a lot's book that a person may put right; ``making`` is what it was issued to."""

    movement: int
    lot: int
    kind: str
    as_is: int
    dry: int
    moisture: Decimal
    making: int | None = None
    is_counted: bool = False


@dataclass
class LotBook:
    """What a lot came with as far as is known now, what has gone out of it, and what it holds."""

    as_is: int
    came: int
    moisture: Decimal
    held: int
    kept_by: int | None = None
    gone: int = 0
    # What samples put right, and the fibre in its receipt as a share of the mass by them.
    sampled: int = 0
    dry_share: Fraction = Fraction(0)
    believed: Fraction = Fraction(0)


@dataclass
class VatBook:
    """One making: what lies weighed out by issue, what was added, and what came of it."""

    noted: dict[int, Line] = field(default_factory=dict)
    added: int = 0
    formed: Counter[str] = field(default_factory=Counter)
    is_finished: bool = False
    thrown: int = 0
    made: Counter[str] = field(default_factory=Counter)
    # By quality and what became of them: sent, spoilt, counted.
    moved: Counter[tuple[str, str]] = field(default_factory=Counter)

    def in_hand(self, quality: str) -> int:
        """Return the sheets that lie there."""
        sent, spoilt = self.moved[quality, "sent"], self.moved[quality, "spoilt"]
        return self.made[quality] - sent - spoilt + self.moved[quality, "counted"]

    @property
    def in_sheets(self) -> int:
        """Fibre in the sheets that were made, whatever became of them."""
        return sum(round(sheets * A4_MG) for sheets in self.made.values())


@dataclass
class Reckoning:
    """The whole studio; what is lost without a making is named in ``named``."""

    lots: dict[int, LotBook] = field(default_factory=dict)
    makings: dict[int, VatBook] = field(default_factory=dict)
    lines: list[Line] = field(default_factory=list)
    # Above 0: found, or shown by a sample. What was discarded is below 0.
    named: Counter[str] = field(default_factory=Counter)

    # --- what there is ---------------------------------------------------------------------------

    def noted(self, lot: int) -> int:
        """Return what is weighed out of a lot for makings that are not finished."""
        return sum(
            line.dry
            for vat in self.makings.values()
            for line in vat.noted.values()
            if line.lot == lot
        )

    def issued(self, making: int) -> int:
        """Return the fibre of a making, as it stands now."""
        left = [line for line in self.lines if line.making == making]
        return sum(line.dry for line in (*self.makings[making].noted.values(), *left))

    def put_in(self, making: int) -> int:
        """Return all that went into a making, with what was added."""
        return self.issued(making) + self.makings[making].added

    def kept(self, making: int, *, but: int | None = None) -> int:
        """Return what the lots of broke and heel of a making came with."""
        lots = self.lots.items()
        return sum(lot.came for pk, lot in lots if lot.kept_by == making and pk != but)

    def lost(self, making: int) -> int:
        """Return what was weighed out and neither weighed back nor formed; below 0: too much."""
        vat = self.makings[making]
        return self.issued(making) - vat.in_sheets - self.kept(making) - vat.thrown

    def most(self, lot: int) -> int | None:
        """Return what a kept lot can have come with; None of any other."""
        making = self.lots[lot].kept_by
        return None if making is None else self.put_in(making) - self.kept(making, but=lot)

    # --- what is done ----------------------------------------------------------------------------

    def receive(
        self, pk: int, movement: int, as_is: int, moisture: Decimal, *, kept_by: int | None = None
    ) -> None:
        """Take a lot in."""
        dry, share = dry_of(as_is, moisture), 1 - Fraction(moisture)
        self.lots[pk] = LotBook(
            as_is, dry, moisture, dry, kept_by=kept_by, dry_share=share, believed=share
        )
        self.lines.append(Line(movement, pk, "received", as_is, dry, moisture))

    def goes(self, line: Line) -> None:
        """Take a line out of its lot."""
        self.lines.append(line)
        lot = self.lots[line.lot]
        lot.held -= line.dry
        lot.gone += line.dry
        if line.making is None:
            self.named["discarded"] -= line.dry

    def may_finish(self, making: int, *, kept: int, thrown: int, accept: bool) -> bool:
        """Tell whether a making can be finished that kept and threw away so much."""
        vat = self.makings[making]
        if not vat.noted or kept > self.put_in(making):
            return False
        sheets = sum(round(vat.formed[quality] * A4_MG) for quality in ("good", "retree"))
        return accept or sheets + kept + thrown <= self.issued(making)

    def finish(self, making: int, movements: dict[int, int], *, thrown: int) -> None:
        """Move all that was noted; ``movements`` are those of the issues."""
        vat = self.makings[making]
        noted, vat.noted = vat.noted, {}
        for issue, line in noted.items():
            line.movement = movements[issue]
            self.goes(line)
        vat.is_finished, vat.thrown = True, thrown
        vat.made = Counter({name: vat.formed[name] for name in ("good", "retree")})

    def sample(self, pk: int, found: Decimal, *, has_dried: bool) -> bool:
        """Put the moisture of a lot right, or let water have come or gone; False if refused."""
        lot, share = self.lots[pk], 1 - Fraction(found)
        change = came = 0
        if not has_dried:
            if not lot.held:
                return False
            change = dry_of(as_is_of(lot.held, lot.moisture), found) - lot.held
            left = min(max(lot.came - lot.gone, 0), lot.held)
            came = round(Fraction(change * left, lot.held))
        most = self.most(pk)
        is_too_much = change > 0 and most is not None and lot.came + came > most
        if lot.came + came > lot.as_is or is_too_much:
            return False
        if change < 0 and lot.held + change < self.noted(pk):
            return False
        lot.held += change
        lot.came += came
        lot.sampled += change
        self.named["shown by samples of what counts found"] += change - came
        if change:
            lot.dry_share *= share / lot.believed
        lot.moisture, lot.believed = found, share
        return True

    def right(self, line: Line, as_is: int) -> int:
        """Return the fibre that a line should have had, had so much been weighed."""
        if line.kind == "received" and as_is:
            return line.dry + round((as_is - line.as_is) * self.lots[line.lot].dry_share)
        return dry_of(as_is, line.moisture)

    def may_correct(self, line: Line, as_is: int) -> bool:
        """Tell whether a line can be put right to a mass as weighed."""
        right, lot = self.right(line, as_is), self.lots[line.lot]
        if line.is_counted or (as_is and right <= 0):
            return False
        change = right - line.dry
        if line.kind == "received":
            most = self.most(line.lot)
            if change > 0 and most is not None and lot.came + change > most:
                return False
            held = lot.held + (change if as_is else -line.dry - lot.sampled)
        else:
            held = lot.held - change
            if line.making is not None and self.kept(line.making) > (
                self.put_in(line.making) + change
            ):
                return False
        return held >= (self.noted(line.lot) if held < lot.held else 0)

    def correct(self, line: Line, as_is: int, movement: int | None) -> None:
        """Put a line right; ``movement`` is the one that stands now, None where nothing moved."""
        right, lot = self.right(line, as_is), self.lots[line.lot]
        change = right - line.dry
        if line.kind == "received":
            lot.held += change if as_is else -line.dry - lot.sampled
            lot.came, lot.as_is = (lot.came + change, as_is) if as_is else (0, 0)
            lot.sampled = lot.sampled if as_is else 0
        else:
            lot.held -= change
            lot.gone += change
            if line.making is None:
                self.named["discarded"] -= change
        self.lines.remove(line)
        if movement is not None:
            line.movement, line.as_is, line.dry, line.is_counted = movement, as_is, right, False
            self.lines.append(line)

    def counted(self, pk: int, dry: int, moisture: Decimal, reason: str) -> None:
        """Bring a lot in line with what a count found."""
        lot = self.lots[pk]
        self.named[f"counted: {reason}"] += dry - lot.held
        lot.held, lot.moisture = dry, moisture
        for line in self.lines:
            line.is_counted = line.is_counted or line.lot == pk

    def may_count_sheets(self, making: int, counted: dict[str, int]) -> bool:
        """Tell whether a count finds no more sheets than were formed, broke among them."""
        vat = self.makings[making]
        found = sum(sheets - vat.in_hand(quality) for quality, sheets in counted.items())
        gone = sum(sheets for (_, what), sheets in vat.moved.items() if what != "counted")
        return found <= 0 or sum(counted.values()) + gone <= sum(vat.formed.values())
