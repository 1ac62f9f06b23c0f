"""What is different between a making and the earlier one that it repeats, line by line.

Shares are 0 to 1. A dose is the mass added over the usable fibre it was added to, so that two
makings of different size compare.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from studio.units import show_number, show_share

# Doses and moistures that show the same to a tenth of a percent are the same (common practice,
# no source: no kitchen scale and no oven in a studio tells them apart).
FINEST = Fraction(1, 1000)
PIGMENT = "pigment"


class Verdict(StrEnum):
    """What a difference asks for."""

    SAME = "same"
    RECKONED = "taken into account"
    TRIAL = "try it first"
    OPEN = "not known yet"


@dataclass(frozen=True, slots=True)
class LotUsed:
    """A lot of one fibre in a making, and the share of its fibre that came from it.

    Where no lot is chosen yet its reference is empty, and ``why`` says why.
    """

    fibre: str
    ref: str
    moisture: Decimal | None
    share: Fraction
    why: str = ""


@dataclass(frozen=True, slots=True)
class DoseUsed:
    """What was added, as a share of dry fibre; ``bottle`` is empty where nobody noted it."""

    name: str
    kind: str
    share: Fraction
    bottle: str = ""


@dataclass(frozen=True, slots=True)
class MakingFacts:
    """What decides how the sheets of a making come out; an empty word or None is not known.

    ``doses`` is None while nothing is known of them; an empty tuple says that nothing is added.
    """

    ref: str
    lots: tuple[LotUsed, ...] = ()
    doses: tuple[DoseUsed, ...] | None = None
    size: str = ""
    grammage: str = ""
    mould: str = ""
    drying: str = ""
    dryer: str = ""
    vat: str = ""
    consistency: Decimal | None = None
    beaten_minutes: int | None = None
    sample: str = ""


@dataclass(frozen=True, slots=True)
class Difference:
    """One line of the list: what, how it was, how it is, and what that asks for."""

    what: str
    earlier: str
    now: str
    verdict: Verdict
    why: str = ""


def differences(earlier: MakingFacts, now: MakingFacts) -> tuple[Difference, ...]:
    """Return every line on which two makings can differ, each with its verdict.

    Parameters
    ----------
    earlier : MakingFacts [-]
        The making that is repeated, as it was.
    now : MakingFacts [-]
        The making that repeats it, as it is planned or was.

    Returns
    -------
    tuple of Difference [-]
        Sheet, lots by fibre in the order of the earlier making, doses, beating, vat, mould and
        drying. Lines that are the same are in it too.

    Raises
    ------
    None
        What is not known gives a line with the verdict "not known yet".

    Notes
    -----
    Moisture alone is taken into account, because lots are weighed out by their dry fibre; a new
    lot, another bottle, dose, beating, mould or drying may change colour, weight or hand. What
    is compared is common practice among studios. Source: [PRACTICE].

    Examples
    --------
    >>> was = MakingFacts("M-0001", mould="A3", drying="Loft, hung free")
    >>> now = MakingFacts("M-0002", mould="A3", drying="Held flat in the dryer")
    >>> [line.what for line in differences(was, now) if line.verdict is Verdict.TRIAL]
    ['Drying']
    """
    return (
        *_sheet_lines(earlier, now),
        *_lot_lines(earlier.lots, now.lots),
        *_dose_lines(earlier.doses, now.doses),
        _compared(
            "Beaten", _minutes(earlier), _minutes(now), "other hand, strength and shrinkage"
        ),
        _compared("Vat", earlier.vat, now.vat, "other depth: weigh a trial sheet", blank=True),
        _compared(
            "Consistency of the vat", _consistency(earlier), _consistency(now), "other weight"
        ),
        _compared("Mould", earlier.mould, now.mould, "other size and weight"),
        _compared("Drying", earlier.drying, now.drying, "other shrinkage and surface"),
        _compared("Dryer", earlier.dryer, now.dryer, "other surface", blank=True),
    )


def conclusion(
    lines: Sequence[Difference], *, earlier: str, sample: str = "", is_planned: bool = True
) -> str:
    """Return what a list of differences asks to be done before the making is run.

    Parameters
    ----------
    lines : sequence of Difference [-]
        The list, as :func:`differences` gives it.
    earlier : str [-]
        Reference of the making that is repeated.
    sample : str [-]
        The sample kept of it; empty where none was.
    is_planned : bool [-]
        Whether something can still be tried before the making is run.

    Returns
    -------
    str [-]
        One sentence or two.

    Raises
    ------
    None
        Any list is taken.

    Notes
    -----
    A trial post is compared with what was kept, not with what is remembered. Source:
    [PRACTICE].

    Examples
    --------
    >>> line = Difference("Drying", "Loft", "Boards", Verdict.TRIAL)
    >>> conclusion([line], earlier="M-0001", sample="R-17")
    'One thing differs: drying. Form a trial post and compare it with R-17 before you run it.'
    """
    differing = [line.what for line in lines if line.verdict is Verdict.TRIAL]
    unknown = [line.what for line in lines if line.verdict is Verdict.OPEN]
    said = []
    if differing:
        verb = "One thing differs" if len(differing) == 1 else f"{len(differing)} things differ"
        said.append(f"{verb}: {_listed(differing)}.")
        kept = sample or f"a sheet of {earlier}"
        if is_planned:
            said.append(f"Form a trial post and compare it with {kept} before you run it.")
        else:
            said.append(f"Compare a sheet with {kept}.")
    if unknown:
        said.append(f"Not known: {_listed(unknown)}.")
    return " ".join(said) or f"Everything that is known is as it was in {earlier}."


def _sheet_lines(earlier: MakingFacts, now: MakingFacts) -> Iterator[Difference]:
    yield _compared("Dry size", earlier.size, now.size, "another sheet", blank=True)
    yield _compared("Grammage", earlier.grammage, now.grammage, "another sheet", blank=True)


def _lot_lines(earlier: Sequence[LotUsed], now: Sequence[LotUsed]) -> Iterator[Difference]:
    for fibre in dict.fromkeys(lot.fibre for lot in (*earlier, *now)):
        was, is_now = (
            sorted((lot for lot in lots if lot.fibre == fibre), key=lambda lot: lot.ref)
            for lots in (earlier, now)
        )
        shares = [sum((lot.share for lot in lots), Fraction(0)) for lots in (was, is_now)]
        if not now:
            yield Difference(
                f"{fibre} lot", _refs(was), "", Verdict.OPEN, "nothing is weighed out yet"
            )
            continue
        yield _share_line(fibre, *shares)
        if was and is_now:
            yield _lot_line(fibre, was, is_now)
            yield _moisture_line(fibre, was, is_now)


def _share_line(fibre: str, was: Fraction, is_now: Fraction) -> Difference:
    what = f"{fibre} share"
    if not was or not is_now:
        return Difference(
            what, _percent(was), _percent(is_now), Verdict.TRIAL, "another fibre: another paper"
        )
    # What is weighed out is never exactly the recipe; a whole percent is.
    if abs(was - is_now) < Fraction(1, 100):
        return Difference(what, _percent(was), _percent(is_now), Verdict.SAME)
    return Difference(what, _percent(was), _percent(is_now), Verdict.TRIAL, "another furnish")


def _lot_line(fibre: str, was: Sequence[LotUsed], is_now: Sequence[LotUsed]) -> Difference:
    if lacking := _lacking(is_now):
        return Difference(f"{fibre} lot", _refs(was), _refs(is_now), Verdict.OPEN, lacking)
    new = {lot.ref for lot in is_now} - {lot.ref for lot in was}
    gone = {lot.ref for lot in was} - {lot.ref for lot in is_now}
    verdict = Verdict.TRIAL if new or gone else Verdict.SAME
    why = "new lot: other colour or length" if new else "one lot less" if gone else ""
    return Difference(f"{fibre} lot", _refs(was), _refs(is_now), verdict, why)


def _moisture_line(fibre: str, was: Sequence[LotUsed], is_now: Sequence[LotUsed]) -> Difference:
    moistures = [
        sorted(Fraction(lot.moisture) for lot in lots if lot.moisture is not None)
        for lots in (was, is_now)
    ]
    is_same = len(was) == len(is_now) and all(
        _is_same(one, other) for one, other in zip(*moistures, strict=False)
    )
    words = [", ".join(show_share(share) for share in shares) for shares in moistures]
    if _lacking(is_now):
        return Difference(f"{fibre} moisture", *words, Verdict.OPEN, "the lot will tell it")
    if is_same:
        return Difference(f"{fibre} moisture", *words, Verdict.SAME)
    return Difference(
        f"{fibre} moisture", *words, Verdict.RECKONED, "weighed out by dry fibre, so it is even"
    )


def _dose_lines(
    earlier: Sequence[DoseUsed] | None, now: Sequence[DoseUsed] | None
) -> Iterator[Difference]:
    if earlier is None and now is None:
        return
    was, is_now = ({dose.name: dose for dose in doses or ()} for doses in (earlier, now))
    for name in dict.fromkeys((*was, *is_now)):
        yield from _one_dose(name, was.get(name), is_now.get(name))


def _one_dose(name: str, was: DoseUsed | None, is_now: DoseUsed | None) -> Iterator[Difference]:
    words = [show_share(dose.share, places=1) if dose else "" for dose in (was, is_now)]
    if was is None or is_now is None:
        why = "added now" if was is None else "left out now"
        yield Difference(f"{name} dose", *words, Verdict.TRIAL, why)
        return
    if _is_same(was.share, is_now.share):
        yield Difference(f"{name} dose", *words, Verdict.SAME)
    else:
        yield Difference(f"{name} dose", *words, Verdict.TRIAL, "another dose on dry fibre")
    if not was.bottle and not is_now.bottle:
        return
    colour = "compare the colour" if PIGMENT in (was.kind, is_now.kind) else "may differ"
    yield _compared(f"{name} bottle", was.bottle, is_now.bottle, f"new bottle: {colour}")


def _compared(what: str, was: str, is_now: str, why: str, *, blank: bool = False) -> Difference:
    """Compare two words; with ``blank``, not known on both sides is the same."""
    if was == is_now and (was or blank):
        return Difference(what, was, is_now, Verdict.SAME)
    if not was or not is_now:
        return Difference(what, was, is_now, Verdict.OPEN, _missing(was, is_now))
    return Difference(what, was, is_now, Verdict.TRIAL, why)


def _missing(was: str, is_now: str) -> str:
    if not was and not is_now:
        return "noted neither then nor now"
    return "not noted then" if not was else "not noted yet"


def _is_same(one: Fraction, other: Fraction) -> bool:
    return round(one / FINEST) == round(other / FINEST)


def _minutes(facts: MakingFacts) -> str:
    minutes = facts.beaten_minutes
    return "" if minutes is None else f"{show_number(minutes)}\u00a0min"


def _consistency(facts: MakingFacts) -> str:
    return "" if facts.consistency is None else show_share(facts.consistency, places=2)


def _percent(share: Fraction) -> str:
    return show_share(share, places=0) if share else ""


def _refs(lots: Sequence[LotUsed]) -> str:
    return ", ".join(dict.fromkeys(lot.ref for lot in lots if lot.ref))


def _lacking(lots: Sequence[LotUsed]) -> str:
    """Say why no lot is chosen for a fibre, or for a part of it."""
    return next((lot.why or "no lot is chosen yet" for lot in lots if not lot.ref), "")


def _listed(names: Sequence[str]) -> str:
    *first, last = [name[:1].lower() + name[1:] if name[1:2].islower() else name for name in names]
    return f"{', '.join(first)} and {last}" if first else last
