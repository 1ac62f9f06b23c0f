"""The stepped balance: what was held, what is planned, what is due, drawn twice."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from studio import units
from studio.charts.labels import (
    TODAY_WORDS,
    Board,
    Text,
    due_places,
    figure_places,
    label_short,
    line_boxes,
)
from studio.charts.scales import Scale, ticks

Balance = tuple[datetime.date, int]
Due = tuple[datetime.date, str, bool]
Figure = tuple[datetime.date, Decimal]

MG_PER_UNIT = {"kg": Decimal(1_000_000), "g": Decimal(1000), "lb": Decimal("453592.37")}
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# The paper: where the plot lies, and how high its words stand.
HEIGHT, TOP, BOTTOM, LEFT = 250, 52, 216, 46
FORMATS = (("broad", 760, 744), ("slim", 340, 330))
DATE_WORDS = Decimal(235)
SHEET_TOP = Decimal(14)
TICK_STEPS = 3
MOST_CHAINS = 9
LONG_SPAN_DAYS = 300
# A balance of nearly nothing is not blown up until its ticks have too many digits to fit.
LEAST_SPAN = Decimal("0.03")


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line: its class and the path it takes."""

    kind: str
    d: str


@dataclass(frozen=True, slots=True)
class DueSheet:
    """The small sheet on top of a due line; struck through where the store falls short."""

    x: Decimal
    y: Decimal
    is_short: bool

    @property
    def foot(self) -> Decimal:
        """Where the lower edge lies."""
        return self.y + 13


@dataclass(frozen=True, slots=True)
class Drawing:
    """One of the two drawings, ready to print."""

    kind: str
    width: int
    height: int
    under: tuple[Stroke, ...]
    lack: str
    over: tuple[Stroke, ...]
    sheets: tuple[DueSheet, ...]
    texts: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table beside the drawing."""

    day: datetime.date
    figure: str
    words: str


@dataclass(frozen=True, slots=True)
class Stepped:
    """A balance over time, drawn twice, with the figures it was drawn from."""

    broad: Drawing
    slim: Drawing
    unit: str
    desc: str
    rows: tuple[Row, ...]

    @property
    def drawings(self) -> tuple[Drawing, Drawing]:
        """Both drawings; the page shows the one that fits."""
        return self.broad, self.slim


@dataclass(frozen=True, slots=True)
class _Story:
    """What is drawn, in the unit it is drawn in."""

    held: tuple[Figure, ...]
    plan: tuple[Figure, ...]
    today: datetime.date
    minimum: Decimal | None
    dues: tuple[Due, ...]
    keep_until: datetime.date | None
    unit: str

    @property
    def to_come(self) -> tuple[Figure, ...]:
        """From what is held today to the last that is planned."""
        return ((self.today, self.held[-1][1]), *self.plan)

    @property
    def figures(self) -> list[Decimal]:
        """Every figure that has to fit on the paper."""
        minimum = [] if self.minimum is None else [self.minimum]
        return [figure for _, figure in (*self.held, *self.plan)] + minimum + [Decimal(0)]

    @property
    def start(self) -> datetime.date:
        """The Monday on or before the first figure."""
        first = self.held[0][0]
        return first - datetime.timedelta(days=first.weekday())

    @property
    def end(self) -> datetime.date:
        """A little after the last thing to be seen."""
        days = [self.today, *(day for day, _ in self.plan), *(day for day, _, _ in self.dues)]
        last = max([*days, self.keep_until or self.today])
        return last + datetime.timedelta(days=max(4, (last - self.start).days // 9))

    @property
    def least(self) -> Decimal:
        """What there should be at the least."""
        return self.minimum or Decimal(0)

    def at(self, day: datetime.date) -> Decimal:
        """Return the figure that holds at the end of a day."""
        before = [figure for when, figure in (*self.held, *self.plan) if when <= day]
        return before[-1] if before else Decimal(0)

    def date(self, day: datetime.date) -> str:
        """Return a day in words, with its year where the drawing spans more than one."""
        words = f"{day.day} {MONTHS[day.month - 1]}"
        is_long = (self.end - self.start).days > LONG_SPAN_DAYS
        return f"{words} {day.year}" if is_long else words


def stepped(
    points: Sequence[Balance],
    plan: Sequence[Balance],
    today: datetime.date,
    *,
    minimum_mg: int | None = None,
    dues: Sequence[Due] = (),
    keep_until: datetime.date | None = None,
    unit: str = "kg",
) -> Stepped:
    """Return both drawings of a balance: held up to today, planned from today on.

    Parameters
    ----------
    points, plan : sequence of (date, int)
        Balance in milligrams from that day on; what is held after today and what is planned
        before it is left out or brought to today.
    minimum_mg : int, optional
        What the studio wants to keep.
    dues : sequence of (date, str, bool)
        Commissions by due day, reference, and whether the store falls short of them.
    keep_until : date, optional
        The last good day of a wet lot.
    unit : str
        kg, g or lb.
    """
    held = [(day, mass) for day, mass in sorted(points, key=_first) if day <= today]
    story = _Story(
        held=_in_unit(held or [(today, 0)], unit),
        plan=_in_unit([(max(day, today), mass) for day, mass in sorted(plan, key=_first)], unit),
        today=today,
        minimum=minimum_mg / MG_PER_UNIT[unit] if minimum_mg else None,
        dues=tuple(sorted(dues)),
        keep_until=keep_until,
        unit=unit,
    )
    broad, slim = (_draw(story, *form) for form in FORMATS)
    return Stepped(broad, slim, unit, _desc(story), _rows(story))


def _first(entry: Balance) -> datetime.date:
    return entry[0]


def _in_unit(balances: Sequence[Balance], unit: str) -> tuple[tuple[datetime.date, Decimal], ...]:
    return tuple((day, mass / MG_PER_UNIT[unit]) for day, mass in balances)


def _draw(story: _Story, kind: str, width: int, right: int) -> Drawing:
    across = Scale(Decimal(story.start.toordinal()), Decimal(story.end.toordinal()), LEFT, right)
    low = min(story.figures)
    marks = ticks(low, max(*story.figures, low + LEAST_SPAN), TICK_STEPS)
    # A little room below, so that a balance under nothing can be told from the edge.
    low -= (marks[-1] - low) / 20 if low < 0 else 0
    up = Scale(low, marks[-1], BOTTOM, TOP)
    texts, chains = _axis_words(story, across, up, marks, width)
    lines = [Stroke("c-axis", f"M{LEFT} {up(0)}H{right}")]
    if story.minimum is not None:
        lines.append(Stroke("c-min", f"M{LEFT} {up(story.minimum)}H{right}"))
    lines.append(Stroke("c-held", _steps(story.held, story.today, across, up)))
    lines.append(Stroke("c-plan", _steps(story.to_come, story.end, across, up)))
    lines.append(Stroke("c-axis", f"M{across(story.today.toordinal())} 50V{BOTTOM}"))
    sheets, dues = _due_marks(story, across)
    board = Board(
        width,
        lines=[box for stroke in lines[1:] for box in line_boxes(stroke.d)],
        taken=[(sheet.x, sheet.y, sheet.x + 10, sheet.y + 13) for sheet in sheets],
        texts=texts,
    )
    _label(board, story, across, up)
    return Drawing(
        kind=kind,
        width=width,
        height=HEIGHT,
        under=tuple(chains),
        lack=_lack(story, across, up),
        over=(*lines, *dues),
        sheets=tuple(sheets),
        texts=tuple(board.texts),
    )


def _steps(
    balances: Sequence[tuple[datetime.date, Decimal]],
    until: datetime.date,
    across: Scale,
    up: Scale,
) -> str:
    """Return the path of a balance: level until it changes, then straight up or down."""
    (day, figure), *later = balances
    path = [f"M{across(day.toordinal())} {up(figure)}"]
    path += [f"H{across(day.toordinal())}V{up(figure)}" for day, figure in later]
    return "".join(path) + f"H{across(until.toordinal())}"


def _lack(story: _Story, across: Scale, up: Scale) -> str:
    """Return the area between what is planned and the least there should be."""
    ends = [day for day, _ in story.to_come[1:]] + [story.end]
    return "".join(
        f"M{across(day.toordinal())} {up(story.least)}H{across(end.toordinal())}"
        f"V{up(figure)}H{across(day.toordinal())}Z"
        for (day, figure), end in zip(story.to_come, ends, strict=True)
        if figure < story.least and end > day
    )


def _axis_words(
    story: _Story, across: Scale, up: Scale, marks: Sequence[Decimal], width: int
) -> tuple[list[Text], list[Stroke]]:
    """Return what stands along both axes, and the chain lines over the dates."""
    texts = [Text("c-t", Decimal(0), Decimal(16), "start", story.unit)]
    for mark in marks:
        words = units.show_number(mark)
        texts.append(Text("c-t", Decimal(38), up(mark) + 4, "end", words))
    chains = []
    taken = Decimal(0)
    for day in _mondays(story.start, story.end):
        x = across(day.toordinal())
        chains.append(Stroke("c-chain", f"M{x} {TOP}V{BOTTOM}"))
        text = Text("c-t", x, DATE_WORDS, "start" if x <= LEFT else "middle", story.date(day))
        if text.right > width:
            text = Text("c-t", Decimal(width), DATE_WORDS, "end", text.words)
        if text.left >= taken:
            texts.append(text)
            taken = text.right + 10
    return texts, chains


def _mondays(start: datetime.date, end: datetime.date) -> list[datetime.date]:
    """Return every Monday, or every second, fourth … so that there are not too many."""
    weeks = 1
    while (end - start).days // (7 * weeks) >= MOST_CHAINS:
        weeks *= 2
    count = (end - start).days // (7 * weeks) + 1
    return [start + datetime.timedelta(weeks=weeks * number) for number in range(count)]


def _due_marks(story: _Story, across: Scale) -> tuple[list[DueSheet], list[Stroke]]:
    places = [(across(day.toordinal()), is_short) for day, _, is_short in _due_days(story)]
    sheets = [DueSheet(x - 5, SHEET_TOP, is_short) for x, is_short in places]
    return sheets, [Stroke("c-due", f"M{x} 29V{BOTTOM}") for x, _ in places]


def _due_days(story: _Story) -> list[Due]:
    """Return day, words and shortness of each due line, those that fall short first.

    What lies before the drawing is told by the table alone.
    """
    words: dict[datetime.date, list[str]] = {}
    for day, ref, _ in story.dues:
        words.setdefault(day, []).append(ref)
    short_days = {day for day, _, is_short in story.dues if is_short}
    for day in short_days:
        words[day].append("short")
    if story.keep_until is not None:
        words.setdefault(story.keep_until, []).append(f"Keep until {story.date(story.keep_until)}")
    days = [
        (day, ", ".join(said), day in short_days)
        for day, said in words.items()
        if day >= story.start
    ]
    return sorted(days, key=lambda entry: not entry[2])


def _label(board: Board, story: _Story, across: Scale, up: Scale) -> None:
    """Write on the drawing what can be written without hiding anything."""
    x = across(story.today.toordinal())
    board.write("c-t", "Today", [(x, TODAY_WORDS, "middle"), (x, TODAY_WORDS, "start")])
    dues = _due_days(story)
    lines = [across(day.toordinal()) for day, _, _ in dues]
    for x, (_, words, is_short) in zip(lines, dues, strict=True):
        places = due_places(x, lines)
        if is_short:
            label_short(board, words, x, places)
        else:
            board.write("c-w", words, places, may_be_left_out=True)
    if story.minimum is not None:
        y = up(story.minimum)
        words = f"Minimum {units.show_number(round(story.minimum, 2).normalize())}"
        sides = [(Decimal(LEFT + 6), "start"), (Decimal(across.end), "end")]
        board.write("c-t", words, [(x, y + drop, side) for x, side in sides for drop in (-6, 15)])
    for day, until, figure in _told_figures(story):
        stretch = across(day.toordinal()), across(until.toordinal())
        kind = "c-o" if figure < 0 else "c-w"
        words = units.show_number(figure, places=2)
        board.write(kind, words, figure_places(*stretch, up(figure)), may_be_left_out=True)


def _told_figures(story: _Story) -> list[tuple[datetime.date, datetime.date, Decimal]]:
    """Return the figures worth a label, each with its stretch of days.

    These are what is held today, the least that is planned, and the last.
    """
    day, held = story.held[-1]
    told = {held: (day, story.today)}
    if story.plan:
        ends = [day for day, _ in story.plan[1:]] + [story.end]
        stretches = list(zip(story.plan, ends, strict=True))
        lowest = min(stretches, key=lambda stretch: stretch[0][1])
        for (day, figure), end in (lowest, stretches[-1]):
            told.setdefault(figure, (day, end))
    return [(day, until, figure) for figure, (day, until) in told.items()]


def _rows(story: _Story) -> tuple[Row, ...]:
    """Return what is drawn as lines of a table, day by day."""
    entries = [(day, figure, "In store") for day, figure in story.held]
    entries += [(day, figure, "Planned") for day, figure in story.plan]
    for day, ref, is_short in story.dues:
        entries.append((day, story.at(day), f"{ref} due{', falls short' if is_short else ''}"))
    if story.keep_until is not None:
        entries.append((story.keep_until, story.at(story.keep_until), "Keep until"))
    entries.sort(key=lambda entry: entry[0])
    return tuple(
        Row(day, units.show_number(figure, places=2), words) for day, figure, words in entries
    )


def _desc(story: _Story) -> str:
    """Return the drawing in words."""

    def worded(figure: Decimal) -> str:
        return f"{units.show_number(figure, places=2)}{units.NO_BREAK_SPACE}{story.unit}"

    first_day, first = story.held[0]
    said = [
        f"From {worded(first)} on {story.date(first_day)} to {worded(story.held[-1][1])} today."
    ]
    if story.plan:
        day, figure = story.plan[-1]
        said.append(f"Planned to be {worded(figure)} from {story.date(day)}.")
    if story.minimum is not None:
        below = [day for day, figure in story.plan if figure < story.minimum]
        since = f", and it falls below that on {story.date(below[0])}" if below else ""
        said.append(f"The minimum is {worded(story.minimum)}{since}.")
    for day, ref, is_short in story.dues:
        short = ", and the store falls short of it" if is_short else ""
        said.append(f"{ref} is due on {story.date(day)}{short}.")
    if story.keep_until is not None:
        said.append(f"To be used by {story.date(story.keep_until)}.")
    return " ".join(said)
