"""How many pulls a promise of good sheets takes, and how many sheets pulls can promise.

A finished sheet is good or not, each on its own, with a known share of good ones (binomial), or
with a share that is itself only known from makings so far: then it is spread as Beta(a, b), and
the count of good sheets is beta-binomial. The pulls until N are good are the negative binomial,
or the beta-negative-binomial, seen from the other side.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

from orders.calc._chances import Spread, check_finished, fewest_sheets, most_good, tails
from orders.calc._shared import checked_share
from studio.errors import RangeError
from studio.units import show_number

Share = Decimal | Fraction | int
Learned = tuple[Decimal, Decimal]

LEAST_SPREAD, MOST_SPREAD = Decimal("0.01"), Decimal(10_000_000)


def pulls_average(good: int, *, good_share: Share, sheets_per_pull: int = 1) -> int:
    """Return the pulls that give a number of good sheets on average.

    Parameters
    ----------
    good : int [sheets]
        Good sheets wanted, 0 or more.
    good_share : Decimal, Fraction or int [-]
        Share of finished sheets that are good, above 0 up to 1.
    sheets_per_pull : int [sheets]
        Finished sheets cut from one pull, at least 1.

    Returns
    -------
    int [pulls]
        Rounded up from the exact quotient.

    Raises
    ------
    RangeError
        If a number is outside what it can be, or no sheet would ever be good.

    Notes
    -----
    Definition: ceil(N / (k × share)). Half the time or so this is too few; see
    :func:`pulls_safe`.

    Examples
    --------
    >>> pulls_average(400, good_share=Decimal("0.88"))
    455
    """
    _check_counts(good, sheets_per_pull)
    share = checked_share("The good share", good_share)
    if good == 0:
        return 0
    _check_something_is_good(share)
    return math.ceil(good / (sheets_per_pull * share))


def pulls_safe(
    good: int,
    *,
    good_share: Share = 1,
    sheets_per_pull: int = 1,
    assurance: Decimal,
    learned: Learned | None = None,
) -> int:
    """Return the fewest pulls that give a number of good sheets with the assurance.

    Parameters
    ----------
    good : int [sheets]
        Good sheets wanted, 0 or more.
    good_share : Decimal, Fraction or int [-]
        Share of finished sheets that are good, above 0 up to 1; not read if ``learned`` is given.
    sheets_per_pull : int [sheets]
        Finished sheets cut from one pull, at least 1.
    assurance : Decimal [-]
        Least chance of having enough good sheets, between 0 and 1.
    learned : tuple of two Decimals [-], optional
        Beta parameters (a, b) of the good share, learned from makings; takes the place of
        ``good_share``.

    Returns
    -------
    int [pulls]
        Smallest n with P(good sheets from n pulls ≥ ``good``) ≥ ``assurance``.

    Raises
    ------
    RangeError
        If a number is outside what it can be, or no sheet would ever be good.

    Notes
    -----
    Holds for sheets that are good or not independently; a run in which everything goes wrong
    together is what ``learned`` is for. Negative binomial: [BOOST], sample-size example.

    Examples
    --------
    >>> pulls_safe(51, good_share=Decimal("0.9"), assurance=Decimal("0.95"))
    61
    >>> pulls_safe(50, learned=(Decimal(45), Decimal(5)), assurance=Decimal("0.95"))
    63
    """
    _check_counts(good, sheets_per_pull)
    spread = _spread(good_share, learned)
    shortfall = _shortfall(assurance)
    if good == 0:
        return 0
    _check_something_is_good(spread.mean)
    if spread.faulty == 0:
        return -(-good // sheets_per_pull)
    return -(-fewest_sheets(good, spread, shortfall) // sheets_per_pull)


def good_sheets_safe(
    pulls: int,
    *,
    good_share: Share = 1,
    sheets_per_pull: int = 1,
    assurance: Decimal,
    learned: Learned | None = None,
) -> int:
    """Return the largest number of good sheets that pulls cover with the assurance.

    Parameters
    ----------
    pulls : int [pulls]
        Pulls that can be made, 0 or more.
    good_share : Decimal, Fraction or int [-]
        Share of finished sheets that are good, 0 to 1; not read if ``learned`` is given.
    sheets_per_pull : int [sheets]
        Finished sheets cut from one pull, at least 1.
    assurance : Decimal [-]
        Least chance of having that many good sheets, between 0 and 1.
    learned : tuple of two Decimals [-], optional
        Beta parameters (a, b) of the good share; takes the place of ``good_share``.

    Returns
    -------
    int [sheets]
        Largest N with P(good sheets from ``pulls`` ≥ N) ≥ ``assurance``.

    Raises
    ------
    RangeError
        If a number is outside what it can be.

    Notes
    -----
    Holds as :func:`pulls_safe` does. Source of the distribution: [BOOST].

    Examples
    --------
    >>> good_sheets_safe(189, good_share=Decimal("0.9"), assurance=Decimal("0.95"))
    163
    """
    _check_pulls(pulls, sheets_per_pull)
    spread = _spread(good_share, learned)
    shortfall = _shortfall(assurance)
    check_finished(pulls * sheets_per_pull, spread)
    return most_good(pulls * sheets_per_pull, spread, shortfall)


def chance_of(
    good: int,
    pulls: int,
    *,
    good_share: Share = 1,
    sheets_per_pull: int = 1,
    learned: Learned | None = None,
) -> float:
    """Return the chance that pulls give at least a number of good sheets.

    Parameters
    ----------
    good : int [sheets]
        Good sheets wanted, 0 or more.
    pulls : int [pulls]
        Pulls made, 0 or more.
    good_share : Decimal, Fraction or int [-]
        Share of finished sheets that are good, 0 to 1; not read if ``learned`` is given.
    sheets_per_pull : int [sheets]
        Finished sheets cut from one pull, at least 1.
    learned : tuple of two Decimals [-], optional
        Beta parameters (a, b) of the good share; takes the place of ``good_share``.

    Returns
    -------
    float [-]
        From 0 to 1, right to about 1e-8 of itself.

    Raises
    ------
    RangeError
        If a number is outside what it can be.

    Notes
    -----
    Holds as :func:`pulls_safe` does. Source of the distribution: [BOOST].

    Examples
    --------
    >>> round(chance_of(100, 112, good_share=Decimal("0.9")), 3)
    0.672
    """
    _check_counts(good, sheets_per_pull)
    _check_pulls(pulls, sheets_per_pull)
    spread = _spread(good_share, learned)
    check_finished(pulls * sheets_per_pull, spread)
    return tails(good, pulls * sheets_per_pull, spread)[1]


# --- refusals ------------------------------------------------------------------------------------


def _spread(good_share: Share, learned: Learned | None) -> Spread:
    if learned is None:
        share = checked_share("The good share", good_share)
        return Spread(share.numerator, share.denominator - share.numerator, 0)
    a, b = (_checked_parameter(name, value) for name, value in zip("ab", learned, strict=True))
    common = math.lcm(a.denominator, b.denominator)
    return Spread(int(a * common), int(b * common), common)


def _checked_parameter(name: str, value: Decimal) -> Fraction:
    if not _is_number(value) or not LEAST_SPREAD <= value <= MOST_SPREAD:
        raise RangeError(
            f"The learned {name} must be from {LEAST_SPREAD} to {show_number(MOST_SPREAD)}, "
            f"got {value}; 45 good and 5 faulty sheets give 45:5.",
            field="learned",
            value=value,
        )
    return Fraction(value)


def _shortfall(assurance: Decimal) -> Fraction:
    """Return the chance of too few sheets that the assurance allows."""
    return 1 - checked_share("The assurance", assurance, zero=False, one=False)


def _is_number(value: object) -> bool:
    if isinstance(value, Decimal):
        return value.is_finite()
    return isinstance(value, int | Fraction) and not isinstance(value, bool)


def _check_counts(good: int, sheets_per_pull: int) -> None:
    _check_whole("Good sheets", good)
    _check_sheets_per_pull(sheets_per_pull)


def _check_pulls(pulls: int, sheets_per_pull: int) -> None:
    _check_whole("Pulls", pulls)
    _check_sheets_per_pull(sheets_per_pull)


def _check_whole(name: str, number: int) -> None:
    if number < 0:
        raise RangeError(f"{name} must be 0 or more, got {number}.", value=number)


def _check_sheets_per_pull(sheets_per_pull: int) -> None:
    if sheets_per_pull < 1:
        raise RangeError(
            f"A pull must give at least 1 finished sheet, got {sheets_per_pull}.",
            value=sheets_per_pull,
        )


def _check_something_is_good(share: Fraction) -> None:
    if share == 0:
        raise RangeError(
            "No number of pulls gives a good sheet when the good share is 0; "
            "broke and retree together must stay below 100 %.",
            field="broke",
            value=share,
        )
