"""Proof that every balance is the sum of its movements, or the rows where it is not.

What came of a purchase is proved beside it: lots, packs and prices agree with what was ordered.
The chain of seals shows what was changed behind the program's back.

One query reads lots and movements side by side, in the order of the ledger, a few thousand rows
at a time: one reading, so that an entry made meanwhile cannot look like a fault.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from itertools import groupby, starmap
from typing import Any, NamedTuple

from django.db import connections
from django.db.models import Exists, OuterRef

from fibres import sealing
from fibres.calc.chain import Noted
from fibres.calc.parting import part_of_packs
from fibres.models import Lot, Movement, Purchase, PurchaseLine
from studio import appendonly
from studio.models import Entry
from studio.units import show_mass

ROWS_AT_A_TIME = 2000


@dataclass(frozen=True, slots=True)
class Fault:
    """One row that cannot be right: which, and what is wrong with it."""

    row: str
    fault: str

    def __str__(self) -> str:
        return f"{self.row}: {self.fault}"


@dataclass(slots=True)
class Audit:
    """What was looked at, and what was found."""

    lots: int = 0
    movements: int = 0
    arrivals: int = 0
    makings: int = 0
    sealed: int = 0
    seal: str = ""
    faults: list[Fault] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Return plain values."""
        return asdict(self)


class Line(NamedTuple):
    """A movement beside its lot; a lot without movements is one line without one."""

    lot_id: int
    ref: str
    balance_mg: Any
    movement: int | None
    kind: str
    oven_dry_mg: Any
    as_is_mg: Any
    reverses: int | None
    target_lot: int | None
    target_oven_dry_mg: Any
    target_reverses: int | None
    has_entry: bool

    @property
    def name(self) -> str:
        """How a person finds the movement again."""
        return f"movement {self.movement} of {self.ref}"


class Come(NamedTuple):
    """A receipt beside the line it came of; a line of which nothing came is one without one."""

    purchase_id: int
    ref: str
    state: str
    source_id: int
    line_id: int
    fibre_id: int
    packs: int
    packs_received: int
    goods_minor: int
    arrival: int | None
    packs_come: Any
    goods_come: Any
    lot: str | None
    lot_source: int | None
    lot_fibre: int | None
    lot_as_is_mg: int | None

    @property
    def counts(self) -> bool:
        """Whether there is a receipt that stands: of one that was taken back no mass is left."""
        return self.arrival is not None and self.lot_as_is_mg != 0

    @property
    def line_name(self) -> str:
        """How a person finds the line again."""
        return f"line {self.line_id} of {self.ref}"

    @property
    def arrival_name(self) -> str:
        """How a person finds the receipt again."""
        return f"receipt {self.arrival} of {self.ref}"


def audit(using: str = "default", *, noted: Noted | None = None) -> Audit:
    """Look at every lot, movement and receipt, at the triggers and the database file.

    ``noted`` is a seal that somebody kept, to be held against the ledger.
    """
    found = Audit()
    for _, lines in groupby(read_lines(using), key=lambda line: line.lot_id):
        audit_lot(list(lines), found)
    for _, rows in groupby(read_arrivals(using), key=lambda row: row.purchase_id):
        audit_purchase(list(rows), found)
    head = sealing.head(using)
    found.sealed, found.seal = head.number, head.noted
    found.faults += starmap(Fault, sealing.faults(using))
    if noted and (unlike := sealing.unlike(noted, using)):
        found.faults.append(Fault(f"seal {noted}", unlike))
    found.faults += [*trigger_faults(using), *file_faults(using)]
    return found


def read_lines(using: str = "default") -> Iterator[Line]:
    """Yield every movement beside its lot, lot by lot, in the order they were written."""
    rows = (
        Lot.objects.using(using)
        .order_by("pk", "movements__pk")
        .annotate(has_entry=Exists(Entry.objects.filter(pk=OuterRef("movements__entry_id"))))
        .values_list(
            "pk", "ref", "oven_dry_mg", "movements__pk", "movements__kind",
            "movements__oven_dry_mg", "movements__as_is_mg", "movements__reverses_id",
            "movements__reverses__lot_id", "movements__reverses__oven_dry_mg",
            "movements__reverses__reverses_id", "has_entry",
        )
    )  # fmt: skip
    return map(Line._make, rows.iterator(chunk_size=ROWS_AT_A_TIME))


def audit_lot(lines: list[Line], found: Audit) -> None:
    """Add up one lot from its movements, and look at each of them."""
    found.lots += 1
    first = lines[0]
    total = 0
    for line in lines:
        if line.movement is None:
            continue
        found.movements += 1
        found.faults += [Fault(line.name, fault) for fault in movement_faults(line)]
        if not isinstance(line.oven_dry_mg, int):
            continue
        was, total = total, total + line.oven_dry_mg
        if total < 0 <= was:
            found.faults.append(Fault(line.name, f"leaves the lot at {show_mass(total)}"))
    if first.balance_mg != total:
        found.faults.append(
            Fault(
                f"lot {first.ref}",
                f"holds {_worded(first.balance_mg)} by its balance and {_worded(total)} by its "
                "movements",
            )
        )


def movement_faults(line: Line) -> Iterator[str]:
    """Yield what is wrong with one movement by itself."""
    if not line.has_entry:
        yield "has no entry in the book, so nobody answers for it"
    if not isinstance(line.oven_dry_mg, int):
        yield f"is not a whole number of milligrams: {str(line.oven_dry_mg)[:40]}"
        return
    yield from _sign_faults(line)
    if line.reverses is not None:
        yield from _reversal_faults(line)


def _sign_faults(line: Line) -> Iterator[str]:
    worded = _worded(line.oven_dry_mg)
    if line.kind in Movement.INTO_STORE and line.oven_dry_mg <= 0:
        yield f"is {line.kind}, which goes in, and is {worded}"
    if line.kind in Movement.OUT_OF_STORE and line.oven_dry_mg >= 0:
        yield f"is {line.kind}, which goes out, and is {worded}"
    if line.kind not in Movement.Kind.values:
        yield f"is of a kind that there is not: {line.kind[:40]}"
    if isinstance(line.as_is_mg, int) and line.as_is_mg * line.oven_dry_mg < 0:
        yield f"is {_worded(line.as_is_mg)} as is and {worded} oven-dry, which part in sign"


def _reversal_faults(line: Line) -> Iterator[str]:
    if line.kind != Movement.Kind.CORRECTED:
        yield f"takes back movement {line.reverses} and is {line.kind}, not corrected"
    if line.target_lot is None:
        yield f"takes back movement {line.reverses}, which is not there"
        return
    if line.target_reverses is not None:
        yield f"takes back movement {line.reverses}, which takes one back itself"
    if line.target_lot != line.lot_id:
        yield f"takes back movement {line.reverses}, which is of another lot"
    if line.target_oven_dry_mg != -line.oven_dry_mg:
        yield (
            f"takes back movement {line.reverses} of {_worded(line.target_oven_dry_mg)} by "
            f"{_worded(line.oven_dry_mg)}"
        )


def _worded(mass_mg: Any) -> str:
    """Word a mass to the milligram: a fault may be no larger than that."""
    return f"{mass_mg:,} mg" if isinstance(mass_mg, int) else f"{str(mass_mg)[:40]} mg"


def read_arrivals(using: str = "default") -> Iterator[Come]:
    """Yield every receipt beside its line, purchase by purchase, in the order of entry."""
    rows = (
        PurchaseLine.objects.using(using)
        .order_by("purchase_id", "pk", "arrivals__pk")
        .values_list(
            "purchase_id", "purchase__ref", "purchase__state", "purchase__source_id", "pk",
            "fibre_id", "packs", "packs_received", "goods_minor", "arrivals__pk",
            "arrivals__packs", "arrivals__goods_minor", "arrivals__lot__ref",
            "arrivals__lot__source_id", "arrivals__lot__fibre_id", "arrivals__lot__as_is_mg",
        )
    )  # fmt: skip
    return map(Come._make, rows.iterator(chunk_size=ROWS_AT_A_TIME))


def audit_purchase(rows: list[Come], found: Audit) -> None:
    """Hold the receipts of one purchase against its lines, and its state against both."""
    lines = [list(group) for _, group in groupby(rows, key=lambda row: row.line_id)]
    for line in lines:
        come = [row for row in line if row.counts]
        found.arrivals += len(come)
        found.faults += [
            Fault(row.arrival_name, fault)
            for row in line
            if row.arrival is not None
            for fault in arrival_faults(row)
        ]
        found.faults += [Fault(line[0].line_name, fault) for fault in _line_faults(line[0], come)]
    state = rows[0].state
    received = [line[0].packs_received for line in lines]
    is_whole = all(line[0].packs_received >= line[0].packs for line in lines)
    if not _fits(state, any(received), is_whole):
        found.faults.append(
            Fault(f"purchase {rows[0].ref}", f"is {state}, which its {sum(received)} packs belie")
        )


def _fits(state: str, some_came: bool, is_whole: bool) -> bool:
    """Tell whether a state agrees with what came."""
    states = Purchase.State
    if state in (states.PLANNED, states.ORDERED):
        return not some_came
    if state == states.PART_RECEIVED:
        return some_came and not is_whole
    return is_whole if state == states.RECEIVED else not is_whole


def arrival_faults(row: Come) -> Iterator[str]:
    """Yield what is wrong with one receipt: its lot is the fibre ordered, from whom it was."""
    if row.lot is None:
        yield "became a lot that is not there"
        return
    if row.lot_source != row.source_id:
        yield f"became {row.lot}, which is from another source"
    if row.lot_fibre != row.fibre_id:
        yield f"became {row.lot}, which is another fibre"


def _line_faults(line: Come, come: list[Come]) -> Iterator[str]:
    packs = sum(row.packs_come for row in come)
    if line.packs_received != packs:
        yield f"has {line.packs_received} packs received and {packs} by its receipts"
    if packs > line.packs:
        yield f"is of {line.packs} packs, and {packs} came by its receipts"
        return
    paid = part_of_packs(line.goods_minor, packs=line.packs, before=0, come=packs)
    if sum(row.goods_come for row in come) != paid:
        yield "has receipts whose prices do not add up to that of the packs that came"


def trigger_faults(using: str = "default") -> list[Fault]:
    """Find the tables whose rows could be changed unseen."""
    return [
        Fault(f"table {table}", "has lost its triggers, so its rows could be changed")
        for table in appendonly.missing(using)
    ]


def file_faults(using: str = "default") -> list[Fault]:
    """Let SQLite look through its own file; PostgreSQL keeps these rules at every write."""
    connection = connections[using]
    if connection.vendor != "sqlite":
        return []
    with connection.cursor() as cursor:
        broken = cursor.execute("PRAGMA integrity_check").fetchall()
        loose = cursor.execute("PRAGMA foreign_key_check").fetchall()
    return [
        *(Fault("database file", text) for (text,) in broken if text != "ok"),
        *(
            Fault(f"row {row} of {table}", f"points at a row of {parent} that is not there")
            for table, row, parent, _ in loose
        ),
    ]
