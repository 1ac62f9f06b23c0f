"""Where the fibre of one making went, in oven-dry milligrams that add up to what was issued."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.db.models import Q, QuerySet, Sum

from fibres.calc import moisture as wet
from fibres.keeping import Bound
from orders.makings.planning import spec_of
from orders.makings.standing import issued_by, issued_by_lot, sheets_made
from orders.models import Making, SheetMovement
from studio.units import System, show_mass, show_number, show_share, show_sheet_mass
from studio.working import Line


@dataclass(frozen=True, slots=True)
class MassBalance:
    """Fibre of a making: issued, and what became of it; the parts add up to the whole.

    ``sheet_mg`` is the fibre in one finished sheet: the mean of ``weighed_sheets`` that were
    dried and weighed, or where there is none what the specification says. What is thrown away of
    the heel counts only as far as it was measured. The rest is lost: in preparation, through the
    mould, and in broke, trimmings and trial sheets that were not kept.
    """

    issued_mg: int
    good: int
    retree: int
    sheet_mg: Fraction
    weighed_sheets: int
    in_good_mg: int
    in_retree_mg: int
    broke_kept_mg: int
    heel_kept_mg: int
    heel_thrown_mg: int

    @property
    def in_sheets_mg(self) -> int:
        """Fibre in sheets of both qualities."""
        return self.in_good_mg + self.in_retree_mg

    @property
    def kept_mg(self) -> int:
        """Fibre that goes back into the store as lots of its own."""
        return self.broke_kept_mg + self.heel_kept_mg

    @property
    def lost_mg(self) -> int:
        """What is neither in sheets nor kept nor thrown away with the heel; below 0: too much."""
        return self.issued_mg - self.in_sheets_mg - self.kept_mg - self.heel_thrown_mg

    @property
    def over_mg(self) -> int:
        """How much more there is than was issued; 0 where the sum is right."""
        return max(0, -self.lost_mg)

    def as_lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Return the sum as a person reads it."""
        each = show_sheet_mass(round(self.sheet_mg), system)
        known = (
            f"by {_weighed_words(self.weighed_sheets)}"
            if self.weighed_sheets
            else "by the specification: none was weighed"
        )
        parts = [
            ("In good sheets", self.in_good_mg, f"{show_number(self.good)} of {each}, {known}"),
            ("In retree sheets", self.in_retree_mg, f"{show_number(self.retree)} of the same"),
            ("Broke kept", self.broke_kept_mg, "a lot of its own"),
            ("Heel kept", self.heel_kept_mg, "a lot of its own"),
            ("Heel thrown away", self.heel_thrown_mg, "as far as it was measured"),
        ]
        rest = show_share(Decimal(abs(self.lost_mg)) / self.issued_mg) if self.issued_mg else ""
        share = f"{rest} of what was issued" if rest else ""
        lost = (
            Line("More than was issued", show_mass(self.over_mg, system=system), share, "answer")
            if self.over_mg
            else Line(
                "Lost in preparation and forming",
                show_mass(self.lost_mg, system=system),
                f"the rest, with broke and trimmings not kept: {share}" if share else "the rest",
                "answer",
            )
        )
        return (
            Line("Issued from lots", show_mass(self.issued_mg, system=system), kind="line"),
            *(Line(name, show_mass(-mg, system=system), why) for name, mg, why in parts if mg),
            lost,
        )


def _weighed_words(sheets: int) -> str:
    return "the one weighed" if sheets == 1 else f"{show_number(sheets)} weighed, on average"


def balance_of(making: Making) -> MassBalance:
    """Return where the fibre of a making went, with every correction made since.

    Of one that is not finished: where it will have gone, if it were finished now.
    """
    sheet_mg, weighed = fibre_in_a_sheet(making)
    good, retree = sheets_of(making)
    heel_mg = _dry(making.heel_as_is_mg, making.heel_moisture)
    thrown = making.heel == Making.Heel.THROWN
    if making.state == Making.State.FINISHED:
        # What was kept has become lots, and they are put right as every lot is.
        broke_kept = making.broke_lot.received_oven_dry_mg if making.broke_lot else 0
        heel_kept = making.heel_lot.received_oven_dry_mg if making.heel_lot else 0
    else:
        broke_kept = _dry(making.broke_as_is_mg, making.broke_moisture)
        heel_kept = heel_mg if making.heel == Making.Heel.KEPT else 0
    return MassBalance(
        issued_mg=sum(issued_by_lot([making]).values()),
        good=good,
        retree=retree,
        sheet_mg=sheet_mg,
        weighed_sheets=weighed,
        in_good_mg=round(good * sheet_mg),
        in_retree_mg=round(retree * sheet_mg),
        broke_kept_mg=broke_kept,
        heel_kept_mg=heel_kept,
        heel_thrown_mg=heel_mg if thrown else 0,
    )


def put_in_mg(making: Making) -> int:
    """Return all that went into a making: fibre as it now stands, and what was added to it."""
    added_mg = sum(making.doses.values_list("mass_mg", flat=True))
    return sum(issued_by_lot([making]).values()) + added_mg


def most_kept(lot: int) -> Bound | None:
    """Return what a lot of broke or heel can have come with: all that is not kept otherwise.

    What was added may be in it too. Of a lot that no making kept it is None.
    """
    making = _locked().filter(Q(broke_lot=lot) | Q(heel_lot=lot)).first()
    if making is None:
        return None
    return Bound(making.ref, put_in_mg(making) - kept_in_lots_mg(making, but=lot))


def least_issued(movement: int) -> Bound | None:
    """Return what an issue must have taken out for all that its making kept to be in it.

    Of a movement that is no issue to a making, or has been put right since, it is None.
    """
    found = issued_by(movement)
    if found is None:
        return None
    pk, issued_mg = found
    making = _locked().get(pk=pk)
    return Bound(making.ref, kept_in_lots_mg(making) - (put_in_mg(making) - issued_mg))


def _locked() -> QuerySet[Making]:
    """Return makings under a lock: two put right at both ends are held against each other.

    Whoever finishes asks for the making before its lots, and then no lot of it can be put right;
    so nobody waits for one who waits for him, though a lot comes first here.
    """
    return Making.objects.select_for_update()


def kept_in_lots_mg(making: Making, *, but: int | None = None) -> int:
    """Return what the lots that a making kept came with, as they now stand."""
    kept = (making.broke_lot, making.heel_lot)
    return sum(lot.received_oven_dry_mg for lot in kept if lot and lot.pk != but)


def _dry(as_is_mg: int | None, moisture: Decimal | None) -> int:
    return wet.oven_dry_mg(as_is_mg, moisture) if as_is_mg and moisture is not None else 0


def sheets_of(making: Making) -> tuple[int, int]:
    """Return the good and the retree sheets that came of a making.

    Until it is finished they are those counted at the vat, afterwards those in the book of sheets.
    """
    if making.state != Making.State.FINISHED:
        counted = making.posts.aggregate(good=Sum("good"), retree=Sum("retree"))
        return counted["good"] or 0, counted["retree"] or 0
    made = sheets_made([making.pk])
    quality = SheetMovement.Quality
    return made.get((making.pk, quality.GOOD), 0), made.get((making.pk, quality.RETREE), 0)


def fibre_in_a_sheet(making: Making) -> tuple[Fraction, int]:
    """Return the fibre in one finished sheet, in milligrams, and how many were weighed for it.

    A weighed sheet is a whole dry pull: where several sheets are cut from one, each holds its
    share of the area.
    """
    spec = spec_of(making)
    weighed = [trial.oven_dry_mg for trial in making.trial_sheets.all()]
    if not weighed:
        return spec.fibre_per_sheet_mg, 0
    fibre_share = 1 - Fraction(spec.non_fibre_share)
    part_of_pull = spec.fibre_per_sheet_mg / spec.fibre_per_pull_mg
    return sum(weighed, Fraction(0)) / len(weighed) * fibre_share * part_of_pull, len(weighed)
