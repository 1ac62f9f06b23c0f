"""Who entered what of one lot: every act in the order in which they were entered."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.db.models import Q
from django.urls import Resolver404, resolve
from django.utils import timezone

from fibres import lotbook
from fibres.models import Lot, MoistureTest, Movement
from studio import roles
from studio.models import Entry

Kind = Movement.Kind
# As the book calls it.
MOISTURE = "Moisture weighed"
# The first part of an address, and what is entered there.
PLACES = {
    "commissions": "Commission",
    "lots": "Lot",
    "makings": "Making",
    "purchases": "Purchase",
    "stocktakes": "Count",
}


@dataclass(frozen=True, slots=True)
class LotEntry:
    """One act that touched a lot; ``page`` is empty where the reader may not open it."""

    when: str
    who: str
    said: str
    place: str
    page: str


def may_see_any(user: Any) -> bool:
    """Tell whether a person sees at least what they entered themselves."""
    return roles.can(user, "entries.own")


def entries_of(
    lot: Lot,
    movements: Sequence[Movement],
    tests: Iterable[MoistureTest],
    *,
    user: Any,
    hidden_name: str = "",
) -> list[LotEntry]:
    """Return the acts that moved, tested, changed or closed a lot, oldest first.

    Who may not see everybody's sees their own. ``hidden_name`` is the donor's own name where the
    reader may not know it.
    """
    by_entry: dict[int, list[Movement]] = defaultdict(list)
    for movement in movements:
        by_entry[movement.entry_id].append(movement)
    # A lot may have more entries than a statement takes keys.
    moved = lot.movements.order_by().values("entry")
    tested = {test.entry_id for test in tests}
    rows = Entry.objects.filter(
        Q(pk__in=moved) | Q(pk__in=tested) | Q(page=lot.get_absolute_url())
    )
    if not roles.can(user, "entries.all"):
        rows = rows.filter(by=user)
    opens = cache(lambda page: _may_open(page, user))
    return [
        LotEntry(
            when=_moment(row),
            who=row.who,
            said=lotbook.without_donor(
                _what(row, by_entry.get(row.pk, []), is_test=row.pk in tested), hidden_name
            ),
            place=_place(row.page),
            page=row.page if opens(row.page) else "",
        )
        for row in rows.select_related("by").order_by("pk")
    ]


def _moment(entry: Entry) -> str:
    at = timezone.localtime(entry.recorded_at)
    return f"{at.day} {at:%b %Y, %H:%M}"


def _what(entry: Entry, movements: Sequence[Movement], *, is_test: bool) -> str:
    """Say what was entered in words of the book, which has its masses in the reader's units."""
    if is_test:
        return MOISTURE
    if not movements:
        return str(entry.said)
    since = ", corrected since" if any(hasattr(one, "reversed_by") for one in movements) else ""
    put_right = [_line_of(one.reverses, entry) for one in movements if one.reverses is not None]
    if put_right:
        return f"Corrected: {_one_each(put_right)}{since}"
    return f"{_one_each(_word(one.kind) for one in movements).capitalize()}{since}"


def _line_of(movement: Movement, entry: Entry) -> str:
    """Name a line of the book by what it was and its day, with the year where it is another."""
    # A correction that can be taken back is what a sample put right.
    word = MOISTURE.lower() if movement.kind == Kind.CORRECTED else _word(movement.kind)
    day = movement.happened_on
    year = "" if day.year == timezone.localtime(entry.recorded_at).year else f" {day.year}"
    return f"{word} {day.day} {day:%b}{year}"


def _word(kind: str) -> str:
    return str(Kind(kind).label).lower()


def _one_each(words: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(words))


def _place(page: str) -> str:
    """Name the page of an act by what it is about."""
    first, *rest = page.strip("/").split("/")
    return f"{PLACES[first]} {rest[0]}" if first in PLACES and rest else page


def _may_open(page: str, user: Any) -> bool:
    try:
        view = resolve(page).func
    except Resolver404:
        return False
    return roles.can(user, roles.need_of(view) or "studio.change")
