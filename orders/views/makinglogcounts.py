"""What is counted by taps on the log of a making: rows of buttons, and how far it has come."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet, Sum
from django.utils.text import slugify

from orders.makings import balance, doubts, log
from orders.models import Fault, Making, Post, Spell
from studio.errors import StudioError
from studio.units import System, show_count, show_number

COUNT_NAMES = {"pulls": "Pulls", "good": "Good", "retree": "Retree", "broke": "Broke"}
COUNT_STEPS = {"pulls": (-1, 1, 5), "good": (-1, 1, 10), "retree": (-1, 1, 5), "broke": (-1, 1, 5)}
FAULT_STEPS = (-1, 1)
MINUTE_STEPS = (-5, 5, 15)


@dataclass(frozen=True, slots=True)
class Button:
    """One button of a row: what it sends, what it says, what it is called aloud."""

    value: str
    words: str
    label: str
    is_first: bool
    has_focus: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A count with its buttons; ``id`` names its place on the page."""

    id: str
    name: str
    times: int | Decimal
    buttons: tuple[Button, ...]

    @property
    def count(self) -> str:
        """The count in words."""
        return show_number(self.times)

    @property
    def has_focus(self) -> bool:
        """Whether it is the row that was tapped last."""
        return any(button.has_focus for button in self.buttons)


def whole_number(text: str, *, most: int) -> int:
    """Return a number that a button sent; what no button sends is refused."""
    try:
        number = int(text)
    except ValueError:
        number = most + 1
    if not -most <= number <= most:
        raise StudioError("No button of this page sends that. Tap one of those shown.")
    return number


def minutes_of(number: int) -> Decimal:
    """Return whole minutes as the log keeps them."""
    return Decimal(number)


def chosen_post(making: Making, asked: str) -> Post | None:
    """Return the post asked for by its number, else the last one."""
    posts = list(making.posts.all())
    wanted = next((post for post in posts if str(post.number) == asked), None)
    return wanted or (posts[-1] if posts else None)


def count_rows(counts: dict[str, int], at: str) -> list[Row]:
    """Return counts by name, each with its buttons."""
    return [
        _row("count", what, name, counts[what], COUNT_STEPS[what], at)
        for what, name in COUNT_NAMES.items()
    ]


def counted_so_far(making: Making, post: Post | None, at: str, system: System) -> dict[str, Any]:
    """Return what a tap changes on the log; ``post`` is None where all posts are shown."""
    all_posts = totals(making)
    counts = counts_of(post) if post else all_posts
    faults = fault_rows(faults_of(making, post), at)
    found = balance.balance_of(making)
    return {
        "lede": lede(making),
        "counts": count_rows(counts, at),
        "in_all": f"{show_number(all_posts['pulls'])} of {show_count(making.pulls, 'pull')} in "
        "all posts",
        "is_pulled": any(all_posts.values()),
        "faults": faults,
        "faults_open": bool(counts["broke"]) or any(row.has_focus for row in faults),
        "faults_in_all": faults_in_all(faults),
        "minutes": minute_rows(making, at),
        "minutes_in_all": minutes_in_all(making),
        "odd": doubts.of_counts(making, all_posts) if making.is_open else [],
        "lines": found.as_lines(system) if found.issued_mg else (),
    }


def faults_in_all(rows: Iterable[Row]) -> str:
    """Word how many faults were seen."""
    seen = sum(int(row.times) for row in rows)
    return show_count(seen, "fault") if seen else "none"


def counts_of(post: Post) -> dict[str, int]:
    """Return the counts of one post by name."""
    return {name: getattr(post, name) for name in log.COUNTED}


def fault_rows(faults: QuerySet[Fault], at: str) -> list[Row]:
    """Return every fault that can be seen, with how often it was."""
    times = dict(faults.order_by().values_list("kind").annotate(Sum("times")))
    return [
        _row("fault", str(kind), str(label), times.get(kind, 0), FAULT_STEPS, at)
        for kind, label in Fault.Kind.choices
    ]


def faults_of(making: Making, post: Post | None) -> QuerySet[Fault]:
    """Return the faults of one post, or of all."""
    return post.faults.all() if post else Fault.objects.filter(post__making=making)


def minutes_in_all(making: Making) -> str:
    """Word the minutes of all operations together."""
    minutes = sum(making.spells.values_list("minutes", flat=True), Decimal(0))
    return f"{show_count(minutes, 'minute')} in all"


def minute_rows(making: Making, at: str) -> list[Row]:
    """Return every operation with the minutes spent on it."""
    spent = dict(making.spells.values_list("operation", "minutes"))
    return [
        _row("minutes", str(kind), str(label), spent.get(kind, Decimal(0)), MINUTE_STEPS, at)
        for kind, label in Spell.Operation.choices
    ]


def _row(
    kind: str, what: str, name: str, count: int | Decimal, steps: Iterable[int], at: str
) -> Row:
    forward = next(step for step in steps if step > 0)
    return Row(
        f"{kind}-{slugify(what)}",
        name,
        count,
        tuple(
            Button(
                value=f"{kind}:{what}:{step}",
                words=f"+{step}" if step > 0 else f"−{-step}",
                label=name,
                is_first=what == "pulls" and step == forward,
                has_focus=what == at and step == forward,
            )
            for step in steps
        ),
    )


def totals(making: Making) -> dict[str, int]:
    """Return pulls and sheets of all posts together."""
    found = making.posts.aggregate(**{name: Sum(name) for name in log.COUNTED})
    return {name: found[name] or 0 for name in log.COUNTED}


def lede(making: Making) -> str:
    """Say in one sentence how far the making is."""
    state = Making.State(making.state)
    if state == Making.State.PLANNED:
        return (
            f"Planned: {show_count(making.pulls, 'pull')} for "
            f"{show_count(making.wanted_good, 'good sheet')}. Start it when the first fibre is "
            "weighed out."
        )
    counted = totals(making)
    sheets = f"{show_number(counted['good'])} good and {show_number(counted['retree'])} retree"
    if state == Making.State.AT_THE_VAT:
        return (
            f"{show_number(counted['pulls'])} of {show_count(making.pulls, 'pull')}; {sheets} so "
            "far. Nothing leaves the store until it is finished."
        )
    if state == Making.State.FINISHED:
        return f"Finished with {sheets}. All of it is in the book."
    return "Given up. Nothing of it left the store."
