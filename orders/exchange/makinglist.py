"""The list of makings: those that are planned, and those of the past with what came of them.

A finished making brings its counts and its minutes, from which figures are learned. Its sheets
are taken to be gone unless the list says how many are in hand, and nothing leaves the store
unless the list says which lots to take out now.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Sum

from fibres.exchange.numbered import read_ref, ref_column, told_apart, twice
from fibres.models import Drying, Lot
from orders.exchange.commissionlist import number_all
from orders.exchange.makingrows import (
    COUNTS,
    MINUTES,
    MOST_SHEETS,
    SAME,
    STATES,
    MakingRow,
    State,
    judge,
    pulls_faults,
    short_lots,
    take_out,
    taken_from,
    write_counts,
)
from orders.models import (
    Commission,
    Dryer,
    Making,
    Sheet,
    SheetMovement,
)
from studio.fields import plain
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
from studio.models import Entry, Mould, Studio, Vat
from studio.units import show_number


@dataclass(frozen=True, slots=True)
class KnownMakings:
    """All that a making names."""

    sheets: Names
    commissions: Names
    moulds: Names
    vats: Names
    dryers: Names
    lots: Names

    @property
    def mark(self) -> tuple[Any, ...]:
        """What a list is read by."""
        states = tuple(
            (one.pk, one.state, one.sheet_id)
            for rows in self.commissions.rows.values()
            for one in rows
        )
        named = (self.sheets, self.moulds, self.vats, self.dryers)
        return (states, *(names.mark for names in named))


class MakingList(FileList):
    """Makings, planned and past."""

    slug, title, noun, nouns = "makings", "Makings", "making", "makings"
    lede = "Runs at the vat: those that are planned, and those of the past with their counts."
    act = "take in makings"
    route = "makings"
    deeds = (ENTERED, UNCHANGED)
    columns = (
        ref_column("making", "M-017"),
        Column("sheet", "name", "A sheet that is entered.", "Text A4", "the name of a sheet",
               needed=True),
        Column("commission", "name", "Its number; empty: for the studio itself.", longest=16,
               also=("for",)),
        Column("day", "day", "The day at the vat.", "2026-03-14", needed=True,
               also=("day at the vat", "planned on", "date")),
        Column("state", "choice", "Empty: finished where sheets are counted, else planned.",
               "finished", choices=STATES),
        Column("wanted", "count", "Good sheets wanted; empty: as many as came of it.", "100",
               least=1, most=MOST_SHEETS, also=("wanted good", "good wanted")),
        Column("pulls", "count", "Empty: of a planned one, the safe count; of a past one, the "
               "sheets that were counted.", "112", least=1, most=MOST_SHEETS),
        Column("good", "count", "Good sheets that came of it.", "100", most=MOST_SHEETS),
        Column("retree", "count", "Retree.", "5", most=MOST_SHEETS),
        Column("broke", "count", "Broke.", "7", most=MOST_SHEETS),
        Column("good in hand", "count", "Of the good sheets, those that lie there now; empty: "
               "none.", "0", most=MOST_SHEETS),
        Column("retree in hand", "count", "Of the retree, those that lie there now; empty: none.",
               "0", most=MOST_SHEETS),
        Column("take from lots", "text", "Only where it has to leave the store now: lots and the "
               "mass as is, such as AB-0003: 2.5 kg; LI-0002: 1.2 kg.", longest=1000),
        Column("was made of", "text", "Only to be read: the lots that were issued to it.",
               only_out=True),
        Column("finished on", "day", "Empty: the day at the vat."),
        Column("mould", "name", "A mould that is entered; empty: the one of the sheet.",
               longest=60),
        Column("vat", "name", "A vat that is entered.", longest=60),
        Column("dryer", "name", "A dryer that is entered.", longest=60),
        Column("drying", "choice", "Empty: as the sheet says.", choices=choices_of(Drying)),
        *(Column(name, "number", "Minutes spent on it.", most=100_000) for name in MINUTES),
        Column("sample", "name", "What sample was kept, and where.", longest=40),
        Column("remarks", "text", longest=2000),
    )  # fmt: skip
    rules = (
        "Makings of the past bring their counts and minutes, from which figures are learned. "
        "They move nothing in the store: what is left of each lot is told by the list of lots.",
        "Where the fibre of a past making has still to leave the store, name the lots and masses "
        "under “take from lots”. They have to hold it.",
        "Sheets of a past making are taken to be gone unless the list says that they are in hand.",
        "A making that is going on at the vat does not come in by a list: it is logged there.",
    )

    def known(self, studio: Studio) -> KnownMakings:
        """Read all that a making can name."""
        return KnownMakings(
            Names.of("sheet", Sheet.objects.select_related("mould")),
            Names.of("commission", Commission.objects.all(), "ref"),
            Names.of("mould", Mould.objects.all()),
            Names.of("vat", Vat.objects.all()),
            Names.of("dryer", Dryer.objects.all()),
            Names.of("lot", Lot.objects.all(), "ref"),
        )

    def read(self, row: RowReader, known: KnownMakings) -> MakingRow:
        """Return the making of a row."""
        take = row.take
        sheet = take("sheet", known.sheets.called)
        counts = {name: take(name, default=0) for name in COUNTS}
        counted = any(row.has(name) for name in COUNTS)
        state = take("state", default=State.FINISHED if counted else State.PLANNED)
        ref = take("ref", read_ref, "")
        making = Making(
            ref=ref,
            sheet=sheet,
            commission=take("commission", known.commissions.called),
            planned_on=take("day"),
            state=state,
            wanted_good=take("wanted") or counts["good"] or None,
            pulls=take("pulls"),
            mould=take("mould", known.moulds.called) or (sheet.mould if sheet else None),
            vat=take("vat", known.vats.called),
            dryer=take("dryer", known.dryers.called),
            drying=take("drying", default=sheet.drying if sheet else Drying.RESTRAINT),
            sample=take("sample", default=""),
            remarks=take("remarks", default=""),
            finished_on=take("finished on"),
        )
        lots = take("take from lots", taken_from(known.lots, row.asked.get("take from lots")), ())
        found = MakingRow(
            making,
            ref,
            counts,
            {name: take(f"{name} in hand", default=0) for name in ("good", "retree")},
            {kind: take(name) or Decimal(0) for name, kind in MINUTES.items()},
            lots,
        )
        judge(row, found, counted=counted)
        return found

    def together(
        self, rows: Sequence[tuple[int, MakingRow]], known: KnownMakings
    ) -> Iterable[Fault]:
        """Find numbers that stand there twice."""
        return twice(rows)

    def changes(self, rows: Sequence[tuple[int, MakingRow]], known: KnownMakings) -> list[Change]:
        """Tell new makings from those whose number is there; see that lots hold what is taken."""
        changes, faults = told_apart(
            rows, Making.objects.all(), noun="Making", same=SAME, of=lambda row: row.making
        )
        faults += pulls_faults(changes)
        faults += short_lots(changes)
        if faults:
            raise ListFaultsError(faults)
        return changes

    def notes(self, changes: Sequence[Change]) -> list[str]:
        """Say what moves in the store, and what does not."""
        new = [change.what for change in changes if change.deed == ENTERED]
        past = [row for row in new if row.making.state == State.FINISHED]
        moving = [row for row in past if row.taken]
        if not past:
            return []
        if not moving:
            return ["Nothing in the store moves: no row says which lots to take out."]
        return [f"Fibre leaves the store for {len(moving)} of {len(past)} finished makings."]

    def write(self, changes: Sequence[Change], entry: Entry, tell: Any) -> None:
        """Write makings with what came of them, in portions."""
        rows: list[MakingRow] = [change.what for change in changes]
        number_all([row.making for row in rows], "making", "M-{:03d}")
        done = 0
        for part in portions(rows):
            Making.objects.bulk_create([row.making for row in part])
            finished = [row for row in part if row.making.state == State.FINISHED]
            write_counts(finished, entry)
            for row in finished:
                take_out(row, entry)
            done += len(part)
            tell(done)

    def words(self, change: Change, studio: Studio) -> str:
        """Name sheet, day and counts."""
        row = change.what
        making, ref = row.making, f"{row.ref} " if row.ref else ""
        for_whom = f" for {making.commission.ref}" if making.commission_id else ""
        came = (
            f"{show_number(row.counts['good'])} good, {show_number(row.counts['retree'])} retree"
            if making.state == State.FINISHED
            else f"{show_number(making.wanted_good)} good wanted"
        )
        taken = f", takes from {', '.join(lot.ref for lot, _ in row.taken)}" if row.taken else ""
        return (
            f"{ref}{making.sheet}{for_whom} on {making.planned_on:%d %b %Y}, {making.state}: "
            f"{came}{taken}"
        )

    def rows_out(self) -> Iterator[dict[str, Any]]:
        """Yield every making that is not going on just now."""
        rows = (
            Making.objects.exclude(state=State.AT_THE_VAT)
            .select_related("sheet", "commission", "mould", "vat", "dryer")
            .prefetch_related("posts", "spells", "issues__lot")
            .order_by("pk")
        )
        lying = _in_hand()
        for making in rows.iterator(chunk_size=500):
            yield _row_out(making, lying)


def _in_hand() -> dict[tuple[int, str], int]:
    rows = SheetMovement.objects.order_by().values_list("making", "quality")
    return {(making, quality): sheets for making, quality, sheets in rows.annotate(Sum("sheets"))}


def _row_out(making: Making, lying: dict[tuple[int, str], int]) -> dict[str, Any]:
    finished = making.state == State.FINISHED
    posts = list(making.posts.all()) if finished else []
    counts = {name: sum(getattr(post, name) for post in posts) for name in COUNTS}
    minutes = {spell.operation: spell.minutes for spell in making.spells.all() if finished}
    made_of = "; ".join(
        f"{issue.lot.ref}: {plain(Decimal(issue.as_is_mg) / 1_000_000)} kg"
        for issue in (making.issues.all() if finished else ())
    )
    return {
        "ref": making.ref, "sheet": making.sheet.name,
        "commission": making.commission.ref if making.commission else "",
        "day": making.planned_on, "state": making.state, "wanted": making.wanted_good,
        "pulls": making.pulls,
        **({name: counts[name] for name in COUNTS} if finished else {}),
        **(
            {
                f"{name} in hand": max(lying.get((making.pk, name), 0), 0)
                for name in ("good", "retree")
            }
            if finished
            else {}
        ),
        "was made of": made_of, "finished on": making.finished_on,
        "mould": making.mould.name if making.mould else "",
        "vat": making.vat.name if making.vat else "",
        "dryer": making.dryer.name if making.dryer else "", "drying": making.drying,
        **{name: minutes.get(operation) for name, operation in MINUTES.items()},
        "sample": making.sample, "remarks": making.remarks,
    }  # fmt: skip
