"""The tables of learned figures, and of the makings behind one."""

from __future__ import annotations

from dataclasses import dataclass

from studio.tables import CountColumn, LedgerTable, MarkColumn, RowHeader, TextColumn

Mark = tuple[str, str]


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One learned figure in words; ``address`` leads to the makings behind it."""

    figure: str
    of: str
    address: str
    stands: str
    origin: str
    value: str
    makings: str
    within: str
    varies: str
    mark: Mark


class FigureText(TextColumn):
    """A figure that carries its unit, because each row has another; set right."""

    css = "n"
    is_figure = True


class FigureTable(LedgerTable):
    """Figures that makings show."""

    caption_unseen = True
    shape = "three"
    nothing = "No finished making shows one of these yet."

    figure = RowHeader("Figure", link="address", second="of", orderable=False)
    stands = FigureText("Stands at", second="origin", orderable=False)
    value = FigureText("Learned", second="makings", orderable=False)
    within = FigureText("Mean lies within", second="varies", orderable=False)
    mark = MarkColumn("State")


@dataclass(frozen=True, slots=True)
class SeenRow:
    """What one making shows."""

    ref: str
    address: str
    value: str
    of: int | None


class SeenTable(LedgerTable):
    """The makings behind a figure."""

    caption = "Makings behind the figure"
    caption_unseen = True
    shape = "stay few"

    ref = RowHeader("Making", link="address", code=True, orderable=False)
    value = FigureText("It shows", orderable=False)
    of = CountColumn("Of sheets sorted", orderable=False)


@dataclass(frozen=True, slots=True)
class LeftOutRow:
    """A making that teaches less than it could."""

    ref: str
    address: str
    why: str


class LeftOutTable(LedgerTable):
    """Makings that teach neither yield nor retention."""

    caption = "Makings that teach neither yield nor retention"
    caption_unseen = True
    shape = "stay"

    ref = RowHeader("Making", link="address", code=True, orderable=False)
    why = TextColumn("Why", wide=True, orderable=False)


@dataclass(frozen=True, slots=True)
class TakenRow:
    """A figure that was taken over before."""

    day: str
    value: str
    before: str
    makings: int
    who: str


class TakenTable(LedgerTable):
    """What was taken over for a figure, the last first."""

    caption = "Taken over before"
    caption_unseen = True
    shape = "stay"

    day = RowHeader("Day", link=None, orderable=False)
    value = FigureText("Taken over", orderable=False)
    before = FigureText("Before", orderable=False)
    makings = CountColumn("Makings", orderable=False)
    who = TextColumn("Who", orderable=False)
