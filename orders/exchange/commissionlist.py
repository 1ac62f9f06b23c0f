"""The list of commissions, open ones and those of the past."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from fibres.exchange.numbered import read_ref, ref_column, told_apart, twice
from fibres.models import Lot
from fibres.receiving import highest_number
from orders.models import Client, Commission, Sheet
from studio.files.columns import Column, choices_of
from studio.files.lists import (
    ENTERED,
    UNCHANGED,
    Change,
    FileList,
    ListFaultsError,
    portions,
)
from studio.files.names import Names
from studio.files.rows import Fault, RowReader
from studio.models import Counter, Entry, Studio
from studio.units import show_number

MOST_SHEETS = 1_000_000
SAME = {
    "title": "title", "client_id": "client", "sheet_id": "sheet", "good_quantity": "good",
    "due": "due",
}  # fmt: skip
State = Commission.State


@dataclass(frozen=True, slots=True)
class KnownOrders:
    """Clients, sheets and lots that a commission names."""

    clients: Names
    sheets: Names
    lots: Names

    @property
    def mark(self) -> tuple[Any, ...]:
        """What a list is read by."""
        return (self.clients.mark, self.sheets.mark, self.lots.mark)


@dataclass(frozen=True, slots=True)
class CommissionRow:
    """A commission, not written yet, and the only lots it may be made of."""

    commission: Commission
    ref: str
    only_lots: tuple[Lot, ...] = field(default=())


class CommissionList(FileList):
    """Commissions."""

    slug, title, noun, nouns = "commissions", "Commissions", "commission", "commissions"
    lede = "What clients want: which sheet, how many good ones, and by when."
    act = "take in commissions"
    route = "commissions"
    deeds = (ENTERED, UNCHANGED)
    columns = (
        ref_column("commission", "C-041"),
        Column("title", "name", "What it is for.", "Wedding invitations", "a title", needed=True),
        Column("client", "name", "A client who is entered.", "Bramble Letterpress",
               "the name of a client", needed=True),
        Column("sheet", "name", "A sheet that is entered.", "Text A4", "the name of a sheet",
               needed=True),
        Column("good", "count", "Good sheets.", "120", "a whole number of good sheets",
               needed=True, least=1, most=MOST_SHEETS,
               also=("good sheets", "quantity", "good quantity")),
        Column("due", "day", "The day it has to leave.", "2026-12-04", needed=True,
               also=("due on",)),
        Column("state", "choice", "Empty: enquiry. Of an agreed one, fibre is set aside.",
               "agreed", choices=choices_of(State)),
        Column("priority", "count", "1 is served first; empty: 5.", "5", least=1, most=9),
        Column("no scrap", "yes", "Whether scrap and broke stay out of it: yes or no.", "no"),
        Column("only lots", "text", "The only lots it may be made of, parted by semicolons.",
               longest=1000),
        Column("not before", "day", "It is not made before that day."),
        Column("all or nothing", "yes", "Whether it is made whole or not at all: yes or no.",
               "no"),
        Column("recycled at least", "share", "What the client wants to say of it.", unit="%"),
        Column("client takes over", "share", "How many more than ordered the client takes.",
               unit="%"),
        Column("remarks", "text", longest=2000),
    )  # fmt: skip
    rules = (
        "Clients and sheets are not entered by this list: bring in or enter theirs first.",
        "A commission with a number that is there already is left as it is; where the list says "
        "something else of it, that is a fault.",
        "Commissions of the past may come in as sent or closed: nothing is set aside for them, "
        "and no sheets are taken to be in hand.",
    )

    def known(self, studio: Studio) -> KnownOrders:
        """Read clients, sheets and lots."""
        return KnownOrders(
            Names.of("client", Client.objects.all()),
            Names.of("sheet", Sheet.objects.all()),
            Names.of("lot", Lot.objects.only("pk", "ref", "closed_on"), "ref"),
        )

    def read(self, row: RowReader, known: KnownOrders) -> CommissionRow:
        """Return the commission of a row."""
        take = row.take
        state = take("state", default=State.ENQUIRY)
        # What is over may be for a client or of a sheet that is closed by now.
        is_open = state in Commission.OPEN
        ref = take("ref", read_ref, "")
        commission = Commission(
            ref=ref,
            title=take("title"),
            client=take("client", known.clients.open if is_open else known.clients.called),
            sheet=take("sheet", known.sheets.open if is_open else known.sheets.called),
            good_quantity=take("good"),
            due=take("due"),
            state=state,
            priority=take("priority", default=5),
            no_scrap=take("no scrap", default=False),
            not_before=take("not before"),
            all_or_nothing=take("all or nothing", default=False),
            claim_recycled=take("recycled at least") or None,
            tolerance_over=take("client takes over", default=Decimal(0)),
            remarks=take("remarks", default=""),
        )
        lots = take("only lots", lambda text: _lots(text, known.lots), ())
        _judge(row, commission.due, commission.not_before)
        return CommissionRow(commission, ref, lots)

    def together(
        self, rows: Sequence[tuple[int, CommissionRow]], known: KnownOrders
    ) -> Iterable[Fault]:
        """Find numbers that stand there twice."""
        return twice(rows)

    def changes(
        self, rows: Sequence[tuple[int, CommissionRow]], known: KnownOrders
    ) -> list[Change]:
        """Tell new commissions from those whose number is there."""
        there = Commission.objects.select_related("client", "sheet")
        changes, faults = told_apart(
            rows, there, noun="Commission", same=SAME, of=lambda row: row.commission
        )
        if faults:
            raise ListFaultsError(faults)
        return changes

    def write(self, changes: Sequence[Change], entry: Entry, tell: Any) -> None:
        """Write commissions and the lots they are limited to, in portions."""
        rows = [change.what for change in changes]
        number_all([row.commission for row in rows], "commission", "C-{:03d}")
        through = Commission.only_lots.through
        done = 0
        for part in portions(rows):
            Commission.objects.bulk_create([row.commission for row in part])
            through.objects.bulk_create(
                [
                    through(commission=row.commission, lot=lot)
                    for row in part
                    for lot in row.only_lots
                ]
            )
            done += len(part)
            tell(done)

    def words(self, change: Change, studio: Studio) -> str:
        """Name title, client, sheet and number."""
        one = change.what.commission
        ref = f"{change.what.ref} " if change.what.ref else ""
        good = show_number(one.good_quantity)
        return (
            f"{ref}{one.title} for {one.client}, {good} good of {one.sheet} by "
            f"{one.due:%d %b %Y}, {one.get_state_display().lower()}"
        )

    def rows_out(self) -> Iterator[dict[str, Any]]:
        """Yield every commission."""
        rows = Commission.objects.select_related("client", "sheet").order_by("pk")
        for one in rows.prefetch_related("only_lots").iterator(chunk_size=500):
            lots = "; ".join(sorted(lot.ref for lot in one.only_lots.all()))
            yield {
                "ref": one.ref, "title": one.title, "client": one.client.name,
                "sheet": one.sheet.name, "good": one.good_quantity, "due": one.due,
                "state": one.state, "priority": one.priority, "no scrap": one.no_scrap,
                "only lots": lots, "not before": one.not_before,
                "all or nothing": one.all_or_nothing, "recycled at least": one.claim_recycled,
                "client takes over": one.tolerance_over, "remarks": one.remarks,
            }  # fmt: skip


def _lots(text: str, lots: Names) -> tuple[Lot, ...]:
    refs = [part.strip() for part in text.replace(",", ";").split(";") if part.strip()]
    return tuple({lot.pk: lot for lot in map(lots.called, refs)}.values())


def _judge(row: RowReader, due: date | None, not_before: date | None) -> None:
    if due and not_before and not_before > due:
        row.blame("not before", "This is after the day due. Give an earlier day.")


def number_all(rows: Sequence[Any], counter: str, form: str) -> None:
    """Give the rows without a number the next ones that are free."""
    without = [row for row in rows if not row.ref]
    beyond = highest_number(row.ref for row in rows)
    if without or beyond:
        numbers = Counter.take(counter, len(without), beyond=beyond)
        for row, number in zip(without, numbers, strict=True):
            row.ref = form.format(number)
