"""The first page: what is wrong, what to do, what is due; and the way there from nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.views.generic import TemplateView
from django_tables2.data import TableListData

from fibres import offshelf
from fibres.models import Fibre, Lot
from orders import (
    firststeps,
    queries,
    reordering,
    reorderwording,
    sheetsinhand,
    thanking,
    wording,
)
from orders.calc.bought import Flag
from orders.calc.cover import Answer, Cover, Lack
from orders.explained import firstpage as today_explained
from orders.makingtables import AtHandTable
from orders.models import Commission, Making
from orders.reordertables import FlagRow, FlagTable
from orders.tables import DueTable, ShortRow, ShortTable, SoonTable
from orders.views import reorder
from orders.views.makings import makings
from orders.views.shapes import cover_marks, today
from studio import clock, roles
from studio.explaining import Explained
from studio.lists import house_table
from studio.pages import HousePage
from studio.roles import needs
from studio.tables import LedgerTable
from studio.units import System, show_number, show_size

ROWS_SHOWN = 100
DUE_SHOWN = 8
AT_HAND_SHOWN = 8
DAYS_AHEAD = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Ask:
    """One of the everyday questions."""

    address: str
    words: str
    hint: str


@needs("read")
class Today(HousePage, TemplateView):
    """How the promises stand, and what has to be done about it."""

    template_name = "orders/today.html"

    def get_heading(self) -> str:
        """Return the day in words."""
        now = today()
        return f"{now:%A} {now.day} {now:%B}"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Lead to the first answer, or give the answers."""
        now = today()
        context = {
            "now": now,
            "clock": clock.behind(),
            "week": now.isocalendar().week,
            "day_number": f"{now:%j}".lstrip("0"),
        }
        way = firststeps.way_for(self.request.user)
        if way.is_open:
            may_put_away = roles.can(self.request.user, "studio.change")
            context |= {"way": way, "next_step": way.next, "lede": way.lede}
            context |= {"may_put_away": may_put_away}
        else:
            context |= self._answers(now)
            context |= {"steps_wait": not way.is_over}
        return super().get_context_data(**context, **kwargs)

    def _answers(self, now: date) -> dict[str, Any]:
        user = self.request.user
        standing = reordering.standing(now, with_money=self.sees_money)
        cover = standing.cover
        short = Shorts(cover, _open_promises(user), self.studio.units)
        asking = [
            flag
            for flag in reorderwording.flagged(standing.flags)
            if reorderwording.needs_act(flag, now)
        ]
        lede = wording.lede(cover, self.studio.units, made=sheetsinhand.all_made())
        due = list(_open_promises(user).order_by("due", "ref")[:DUE_SHOWN])
        return {
            "lede": " ".join(filter(None, [lede, reorderwording.urge(asking, now)])),
            "asks": asks(user, due),
            "thanks": _thanks_words(user, now),
            "at_hand": self._table(AtHandTable, _at_hand(now), "making-"),
            "short": self._table(ShortTable, short, ""),
            "short_note": short.note,
            "to_order": self._table(
                FlagTable, _flag_rows(asking, now, self.studio.units), "order-"
            ),
            "due": self._table(DueTable, due, "due-", covers=cover_marks(cover)),
            **self._soon(cover, now),
        }

    def _soon(self, cover: Cover, now: date) -> dict[str, Any]:
        """Return the lots that sour soon, with what is set aside of them."""
        soon = queries.lots_to_use_soon(now)
        return {"soon": self._table(SoonTable, soon, "soon-", aside=_set_aside(cover, soon))}

    def _table(self, kind: type[LedgerTable], rows: Any, prefix: str, **more: Any) -> Any:
        """Return a table, in pages where it is very long, or None where it has no rows."""
        is_long = len(rows) > ROWS_SHOWN
        # A table makes a list of what it is not told to leave as it is.
        shown = TableListData(rows) if is_long else rows[:]
        if not is_long and not shown:
            return None
        told = {"paginate": is_long, "per_page": ROWS_SHOWN, **more}
        return house_table(self.request, kind, shown, prefix=prefix, **told)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the answers come about; the first steps have no figures."""
        return today_explained.of_page(shown, self.studio.units) if "asks" in shown else ()


def _at_hand(now: date) -> list[Making]:
    """Return the makings that run, then those planned for the next days."""
    planned = Q(state=Making.State.PLANNED, planned_on__lte=now + DAYS_AHEAD)
    rows = makings().filter(Q(state=Making.State.AT_THE_VAT) | planned)
    return sorted(rows[:AT_HAND_SHOWN], key=lambda one: one.state != Making.State.AT_THE_VAT)


def _thanks_words(user: Any, now: date) -> str:
    """Say how many donors wait for thanks, to who may note them; nothing where none waits."""
    if not roles.can(user, "store.receive"):
        return ""
    count = thanking.donors_waiting(now)
    if not count:
        return ""
    who = "One donor has" if count == 1 else f"{show_number(count)} donors have"
    return f"{who} waited for thanks for more than {thanking.THANK_WITHIN_DAYS} days."


def _open_promises(user: Any) -> Any:
    return queries.commissions_for(user).filter(state__in=Commission.PROMISES)


class Shorts:
    """What promises lack, fibre by fibre; read and worded only where it is shown."""

    def __init__(self, cover: Cover, promises: QuerySet[Commission], system: System) -> None:
        self.today = cover.today
        self.promises = promises
        self.system = system
        self.lacks = [(one, lack) for one in cover.commissions for lack in one.short]

    def __len__(self) -> int:
        return len(self.lacks)

    def __iter__(self) -> Iterator[ShortRow]:
        return iter(self[:])

    def __getitem__(self, some: slice) -> list[ShortRow]:
        """Return some rows; what was moved on since it was reckoned is left out."""
        lacks = self.lacks[some]
        rows = {row.ref: row for row in self.promises.filter(ref__in={a.ref for a, _ in lacks})}
        return [self._row(one, lack, rows[one.ref]) for one, lack in lacks if one.ref in rows]

    def _row(self, answer: Answer, lack: Lack, promise: Commission) -> ShortRow:
        size = show_size(promise.sheet.size, system=self.system)
        return ShortRow(
            ref=answer.ref,
            title=promise.title,
            wanted=f"{show_number(promise.good_quantity)} sheets, {size}",
            fibre=" or ".join(lack.fibres),
            short_mg=lack.oven_dry_mg,
            due=answer.due,
            ready=wording.mark_of(answer, self.today),
        )

    @property
    def note(self) -> str:
        """Say how many commissions wait on how many fibres."""
        waiting = len({answer.ref for answer, _ in self.lacks})
        fibres = len({lack.fibres for _, lack in self.lacks})
        said = "One commission waits" if waiting == 1 else f"{waiting} commissions wait"
        return f"{said} on {'one fibre' if fibres == 1 else f'{fibres} fibres'}"


def _flag_rows(asking: list[Flag], now: date, system: Any) -> list[FlagRow]:
    """Return the fibres about which something has to be done within a fortnight."""
    # All names are read, so that the page asks the same on every day.
    keys = dict(Fibre.objects.values_list("name", "pk"))
    return [
        FlagRow(
            fibre=flag.fibre,
            address=reorder.address_of(keys.get(flag.fibre)),
            why=reorderwording.in_short(flag, now, system),
            short_oven_dry_mg=flag.short_oven_dry_mg,
            mark=reorderwording.mark_of(flag, now),
        )
        for flag in asking
    ]


def _set_aside(cover: Cover, lots: Iterable[Lot]) -> dict[str, list[tuple[int, str]]]:
    """Return, by lot, the oven-dry milligrams set aside for commissions, or at the vat."""
    by_key = {lot.pk: lot.ref for lot in lots}
    found: dict[str, list[tuple[int, str]]] = {}
    for pk, out in offshelf.weighed_out(by_key).items():
        found[by_key[pk]] = [(mass, making) for making, mass in out.items()]
    for answer in cover.commissions:
        for pick in answer.picks:
            found.setdefault(pick.lot, []).append((pick.oven_dry_mg, answer.ref))
    return found


def asks(user: Any, due: list[Any]) -> list[Ask]:
    """Return the everyday questions that a person may put."""
    found = []
    if roles.can(user, "orders.change"):
        address, hint = reverse("commission_new"), "Give a sheet, a number and a day."
    else:
        address, hint = reverse("commissions"), "Look at a commission."
    found.append(
        Ask(
            address,
            "Does stock cover it?",
            f"{hint} See what is set aside, what is short, and by how much.",
        )
    )
    if roles.can(user, "money"):
        address = f"{due[0].get_absolute_url()}#cost" if due else reverse("commissions")
        hint = (
            "Cost a commission per good sheet: fibre, additions, hours, and the sheets you cull."
        )
        found.append(Ask(address, "What does it cost?", hint))
    if roles.can(user, "store.receive"):
        hint = "Enter donated paper by weight, by reams or by counting. See the sheets it makes."
        found.append(Ask(reverse("scrap_log"), "Log scrap", hint))
    if len(found) < 3:
        hint = "Put a mass, a size and a grammage. Nothing is saved."
        found.append(Ask(f"{reverse('bench')}#sheets", "How many sheets is that?", hint))
    return found
