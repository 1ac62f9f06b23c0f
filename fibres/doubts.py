"""What looks like a slip on the scale in the store: it is asked about, and may be so."""

from __future__ import annotations

from fibres.calc import moisture as wet
from fibres.models import Lot
from studio.units import System, show_mass

# So many times the book, either way: a wrong unit, digit or lot reaches that, and moisture does
# not; common practice, no source.
FAR_OFF = 5


def of_count(lot: Lot, as_is_mg: int, *, system: System = "metric") -> str:
    """Ask about a mass far from the book's; of a lot that is used up, about more than ever came.

    Nothing on the scale is no slip of a unit: only its reason is asked for.
    """
    book_mg = wet.as_is_mg(lot.oven_dry_mg, lot.moisture)
    shown, book, came = (
        show_mass(mass, system=system) for mass in (as_is_mg, book_mg, lot.as_is_mg)
    )
    look = f"Look at the figure, its unit and the label: is it {lot.ref}?"
    if not book_mg:
        if as_is_mg <= lot.as_is_mg:
            return ""
        return f"{shown} is more than the {came} that ever came of {lot.ref}. {look}"
    if not as_is_mg or book_mg <= as_is_mg * FAR_OFF <= book_mg * FAR_OFF**2:
        return ""
    way = "more than 5 times" if as_is_mg > book_mg else "less than a fifth of"
    return f"{shown} is {way} the {book} as is that the book has. {look}"
