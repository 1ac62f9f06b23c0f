"""What finished makings say of each figure, beside what it stands at now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from typing import Any

from fibres import reference
from fibres.models import Drying, Fibre, Furnish, Shrinkage
from orders.calc import learned, onemaking
from orders.learning.facts import Facts, read
from orders.learning.origins import Book, is_same
from orders.models import AcceptedFigure, Sheet
from studio.models import Mould
from studio.units import show_share

Figure = AcceptedFigure.Figure
# How fine a figure is kept: a hundredth of a percent, a hundredth of a minute, a micrometre.
PLACES = {Figure.MINUTES: Decimal("0.01"), Figure.DRAW: Decimal(1)}
SHARE_PLACES = Decimal("0.0001")
MOST_SHRINKAGE = Decimal("0.6")
LEAST_MAKINGS = 2
SHARES_OF_SHEETS = (Figure.BROKE, Figure.RETREE)
SHRINKAGES = (Figure.SHRINKAGE_ACROSS, Figure.SHRINKAGE_ALONG)


@dataclass(frozen=True, slots=True)
class Seen:
    """What one making shows of a figure; ``of`` is how many sheets a share was counted among."""

    ref: str
    address: str
    value: Decimal
    of: int = 0


@dataclass(frozen=True, slots=True)
class LearnedFigure:
    """A figure that makings show, with its limits and what it stands at.

    Shares are 0 to 1, the draw is micrometres, minutes are minutes. ``given`` says which other
    figure is held to be right; ``refusal`` says why it cannot be taken over, or is empty.
    """

    figure: Figure
    subject: str
    name: str
    page: str
    stands: Decimal | int | None
    origin: str
    value: Decimal
    low: Decimal | None
    high: Decimal | None
    deviation: Decimal | None
    seen: tuple[Seen, ...]
    given: str = ""
    stands_in: int = 0
    set_at: Decimal | None = None
    refusal: str = ""

    @property
    def makings(self) -> int:
        """How many makings it rests on."""
        return len(self.seen)

    @property
    def slug(self) -> str:
        """Return the subject as it stands in an address."""
        return self.subject.replace(" ", "-")

    @property
    def can_be_taken_over(self) -> bool:
        """Whether the owner may take it over as it is."""
        return not self.refusal


@dataclass(frozen=True, slots=True)
class Page:
    """Everything that makings teach, and the makings that teach less than they could."""

    figures: tuple[LearnedFigure, ...]
    makings: int
    left_out: tuple[tuple[str, str, str], ...]

    def find(self, figure: str, slug: str) -> LearnedFigure | None:
        """Return one figure of one subject."""
        return next((f for f in self.figures if f.figure == figure and f.slug == slug), None)


def learn() -> Page:
    """Return what finished makings say, in a number of queries that does not grow."""
    facts, book = read(), Book.read()
    figures = [*_yields(facts, book), *_of_sheets(facts, book), *_draws(facts, book)]
    figures += _shrinkages(facts, book)
    left = [(one.ref, one.address, why) for one in facts if (why := why_not_weighed(one))]
    return Page(tuple(figures), len(facts), tuple(left))


def why_not_weighed(facts: Facts) -> str:
    """Say why a making teaches neither yield nor retention; nothing where it does."""
    if not facts.issued:
        return "No fibre was issued to it."
    if not facts.pulls:
        return "No pull was counted."
    if facts.fibre_per_pull_mg is None:
        return "No sheet was dried and weighed."
    if facts.heel_mg is None:
        return "What was left in the vat was not weighed."
    return "" if facts.usable_mg > facts.heel_mg else "More was left in the vat than went in."


# --- of a fibre ----------------------------------------------------------------------------------


def _yields(facts: list[Facts], book: Book) -> Iterable[LearnedFigure]:
    seen: dict[int, list[Seen]] = defaultdict(list)
    stays: dict[int, set[Decimal]] = defaultdict(set)
    for one in facts:
        part = one.only_fibre
        if part is None or why_not_weighed(one):
            continue
        share = onemaking.preparation_yield(
            part.oven_dry_mg,
            formed_mg=one.formed_mg or 0,
            heel_mg=one.heel_mg or 0,
            retention=one.retention,
        )
        seen[part.fibre_id].append(_seen(one, share))
        stays[part.fibre_id].add(one.retention)
    usual = {row["name"]: row["preparation_yield"] for row in reference.read_fibres()}
    for fibre in Fibre.objects.filter(pk__in=seen, closed_on__isnull=True):
        said = " or ".join(show_share(share) for share in sorted(stays[fibre.pk]))
        subject = f"fibre {fibre.pk}"
        yield _mean_figure(
            Figure.YIELD,
            subject,
            fibre.name,
            fibre.get_absolute_url(),
            stands=fibre.preparation_yield,
            origin=book.origin_of(
                Figure.YIELD,
                subject,
                fibre.preparation_yield,
                usual=[usual[fibre.name]] if usual.get(fibre.name) else [],
            ),
            seen=seen[fibre.pk],
            given=f"if {said} of the fibre in the vat stays on the mould",
        )


# --- of a sheet ----------------------------------------------------------------------------------


def _of_sheets(facts: list[Facts], book: Book) -> Iterable[LearnedFigure]:
    by_sheet: dict[int, list[Facts]] = defaultdict(list)
    for one in facts:
        by_sheet[one.sheet_id].append(one)
    for sheet in Sheet.objects.filter(pk__in=by_sheet, closed_on__isnull=True):
        makings = by_sheet[sheet.pk]
        weighed = [_seen(one, _stays(one)) for one in makings if not why_not_weighed(one)]
        timed = [
            _seen(one, Fraction(one.minutes) / one.pulls)
            for one in makings
            if one.minutes and one.pulls
        ]
        if weighed:
            given = "if the preparation yields of its fibres are right"
            yield _of_sheet(sheet, Figure.RETENTION, weighed, book, given=given)
        yield from _culls(sheet, makings, book)
        if timed:
            yield _of_sheet(sheet, Figure.MINUTES, timed, book, given="setting up left out")


def _stays(facts: Facts) -> Fraction:
    return onemaking.share_that_stays(
        facts.formed_mg or 0, usable_mg=facts.usable_mg, heel_mg=facts.heel_mg or 0
    )


def _of_sheet(
    sheet: Sheet, figure: Figure, seen: list[Seen], book: Book, *, given: str
) -> LearnedFigure:
    field = "retention" if figure == Figure.RETENTION else "minutes_per_pull"
    subject, stands = f"sheet {sheet.pk}", getattr(sheet, field)
    return _mean_figure(
        figure,
        subject,
        sheet.name,
        sheet.get_absolute_url(),
        stands=stands,
        origin=book.origin_of(figure, subject, stands),
        seen=seen,
        given=given,
    )


def _culls(sheet: Sheet, makings: list[Facts], book: Book) -> Iterable[LearnedFigure]:
    sorted_ones = [one for one in makings if one.finished]
    if not sorted_ones:
        return
    subject = f"sheet {sheet.pk}"
    for figure, name in ((Figure.BROKE, "broke"), (Figure.RETREE, "retree")):
        stands: Decimal = getattr(sheet, name)
        usual = book.set_before(figure, subject, stands)
        counts = [(getattr(one, name), one.finished) for one in sorted_ones]
        found = learned.share_of_sheets(counts, usual=usual)
        value = _round(figure, found.value)
        other = sheet.retree if figure == Figure.BROKE else sheet.broke
        none_good = value + other >= 1
        yield LearnedFigure(
            figure=figure,
            subject=subject,
            name=sheet.name,
            page=sheet.get_absolute_url(),
            stands=stands,
            origin=book.origin_of(figure, subject, stands),
            value=value,
            low=_round(figure, found.low),
            high=_round(figure, found.high),
            deviation=_round(figure, found.deviation),
            seen=tuple(
                _seen(one, Fraction(count, of), of=of)
                for one, (count, of) in zip(sorted_ones, counts, strict=True)
            ),
            stands_in=found.stands_in,
            set_at=usual,
            refusal=_no_change(value, stands)
            or ("Broke and retree would leave no good sheet." if none_good else ""),
        )


# --- of a mould, of a furnish --------------------------------------------------------------------


def _draws(facts: list[Facts], book: Book) -> Iterable[LearnedFigure]:
    seen: dict[int, list[Seen]] = defaultdict(list)
    for one in facts:
        if one.draw_um is not None and one.mould_id is not None:
            seen[one.mould_id].append(_seen(one, one.draw_um, Figure.DRAW))
    for mould in Mould.objects.filter(pk__in=seen, closed_on__isnull=True):
        subject = f"mould {mould.pk}"
        yield _mean_figure(
            Figure.DRAW,
            subject,
            mould.name,
            "",
            stands=mould.draw_um,
            origin=book.origin_of(Figure.DRAW, subject, mould.draw_um),
            seen=seen[mould.pk],
            given="what stays times how deep the mould is dipped, as one number",
        )


def _shrinkages(facts: list[Facts], book: Book) -> Iterable[LearnedFigure]:
    seen: dict[tuple[Figure, int, str], list[Seen]] = defaultdict(list)
    for one in facts:
        for figure, value in zip(SHRINKAGES, (one.across, one.along), strict=True):
            if value is not None:
                seen[figure, one.furnish_id, one.drying].append(_seen(one, value))
    known = {(row.furnish_id, row.drying): row for row in Shrinkage.objects.all()}
    furnishes = Furnish.objects.filter(closed_on__isnull=True).in_bulk(
        {furnish for _, furnish, _ in seen}
    )
    for (figure, pk, drying), found in seen.items():
        if pk not in furnishes:
            continue
        furnish, row = furnishes[pk], known.get((pk, drying))
        subject = f"furnish {pk} {drying}"
        stands = getattr(row, figure.value) if row else None
        yield _mean_figure(
            figure,
            subject,
            f"{furnish.name}, {Drying(drying).label.lower()}",
            furnish.get_absolute_url(),
            stands=stands,
            origin=book.origin_of(figure, subject, stands),
            seen=found,
            given="of the mould’s opening",
        )


# --- beneath -------------------------------------------------------------------------------------


def _seen(facts: Facts, value: Fraction, figure: Figure = Figure.MINUTES, *, of: int = 0) -> Seen:
    fine = Decimal(1) if figure == Figure.DRAW else Decimal("0.000001")
    return Seen(facts.ref, facts.address, _rounded(value, fine), of)


def _mean_figure(
    figure: Figure,
    subject: str,
    name: str,
    page: str,
    *,
    stands: Decimal | int | None,
    origin: str,
    seen: Sequence[Seen],
    given: str,
) -> LearnedFigure:
    """Return a figure that is the mean of what makings show."""
    found = learned.mean_of([one.value for one in seen])
    value = _round(figure, found.value)
    return LearnedFigure(
        figure=figure,
        subject=subject,
        name=name,
        page=page,
        stands=stands,
        origin=origin,
        value=value,
        low=_limit(figure, found.low),
        high=_limit(figure, found.high),
        deviation=None if found.deviation is None else _round(figure, found.deviation),
        seen=tuple(seen),
        given=given,
        refusal=_too_few(len(seen)) or _impossible(figure, value) or _no_change(value, stands),
    )


def _limit(figure: Figure, number: float | None) -> Decimal | None:
    """Return a limit of the mean; of a fibre no more than all and no less than none is left."""
    if number is None:
        return None
    if figure in (Figure.YIELD, Figure.RETENTION):
        number = min(max(number, 0.0), 1.0)
    return _round(figure, number)


def _too_few(makings: int) -> str:
    if makings >= LEAST_MAKINGS:
        return ""
    return "One making does not show how far makings differ. It can be taken over after two."


def _impossible(figure: Figure, value: Decimal) -> str:
    if figure in (Figure.YIELD, Figure.RETENTION) and value > 1:
        return (
            f"It comes to {show_share(value)}, and more than all cannot be left. Either something "
            "was weighed wrong or the figure that it rests on is too low."
        )
    if figure in SHRINKAGES and not 0 <= value <= MOST_SHRINKAGE:
        return (
            f"It comes to {show_share(value)}; a shrinkage is from 0 to "
            f"{show_share(MOST_SHRINKAGE)}. Look at the sides that were measured."
        )
    return "" if value > 0 or figure in SHRINKAGES else "It comes to nothing."


def _no_change(value: Decimal, stands: Any) -> str:
    return "It stands at this already." if is_same(value, stands) else ""


def _round(figure: Figure, number: float) -> Decimal:
    return _rounded(Fraction(number), PLACES.get(figure, SHARE_PLACES))


def _rounded(number: Fraction, fine: Decimal) -> Decimal:
    """Round half-even, once, to what the figure is kept at."""
    steps = round(number / Fraction(fine))
    return (steps * fine).quantize(fine, rounding=ROUND_HALF_EVEN)
