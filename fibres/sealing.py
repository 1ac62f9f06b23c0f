"""Writing the seals of the ledger, reading them again, and holding them against what is there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from django.db import DatabaseError, connections
from django.db.models import Exists, FilteredRelation, OuterRef, QuerySet
from django.utils import timezone

from fibres.calc import chain
from fibres.calc.chain import Link, Noted
from fibres.models import Movement, Seal

ROWS_AT_A_TIME = 2000
SEALS_AT_A_TIME = 500
BEFORE_ALL = -(2**63)
# What is sealed of a movement, and where it stands in the database.
COLUMNS = {
    "movement": "pk",
    "lot": "lot_id",
    "lot_ref": "its_lot__ref",
    "kind": "kind",
    "oven_dry_mg": "oven_dry_mg",
    "as_is_mg": "as_is_mg",
    "moisture": "moisture",
    "happened_on": "happened_on",
    "why": "why",
    "reverses": "reverses_id",
    "entry_key": "its_entry__request_key",
    "act": "its_entry__act",
    "said": "its_entry__said",
    "page": "its_entry__page",
    "who": "its_entry__by__username",
    "recorded_at": "its_entry__recorded_at",
}
SEALED = (*COLUMNS.values(), "seal__number", "seal__digest")
# A database file may hold anything: what cannot be read is not what was sealed.
UNREADABLE = (ValueError, TypeError, AttributeError, ArithmeticError, DatabaseError)


class Head(NamedTuple):
    """The last seal: it changes with everything that was entered up to it."""

    number: int
    digest: str

    @property
    def noted(self) -> str:
        """The seal as a person notes it."""
        return str(Noted.of(self.number, self.digest))


def head(using: str = "default") -> Head:
    """Return the last seal of the ledger."""
    last = Seal.objects.using(using).order_by("-number").values_list("number", "digest").first()
    return Head(*last) if last else Head(0, chain.BEGINNING)


def seal(movement: Movement) -> None:
    """Seal a movement that has just been written, inside its transaction."""
    entry = movement.entry
    line = chain.written(
        movement=movement.pk,
        lot=movement.lot_id,
        lot_ref=movement.lot.ref,
        kind=movement.kind,
        oven_dry_mg=movement.oven_dry_mg,
        as_is_mg=movement.as_is_mg,
        moisture=movement.moisture,
        happened_on=movement.happened_on,
        why=movement.why,
        reverses=movement.reverses_id,
        entry_key=entry.request_key,
        act=entry.act,
        said=entry.said,
        page=entry.page,
        who=entry.by.get_username() if entry.by else None,
        recorded_at=entry.recorded_at,
    )
    last = head()
    number = last.number + 1
    digest = chain.next_digest(last.digest, number=number, line=line)
    Seal(number=number, movement=movement, digest=digest).save()


def seal_all(movements: QuerySet[Movement]) -> None:
    """Seal many movements that have just been written, in the order of the ledger.

    Inside the transaction that wrote them, as all of them or none are there.
    """
    number, digest = head()
    for rows in _portions(movements.filter(seal=None)):
        made = []
        for row in rows:
            number += 1
            digest = chain.next_digest(digest, number=number, line=_line(row))
            made.append(Seal(number=number, movement_id=row[0], digest=digest))
        Seal.objects.bulk_create(made, batch_size=SEALS_AT_A_TIME)


def links(using: str = "default") -> Iterator[Link]:
    """Yield every movement as it is now, beside its seal, in the order of the ledger."""
    for rows in _portions(Movement.objects.using(using)):
        yield from map(_link, rows)


def faults(using: str = "default") -> Iterator[tuple[str, str]]:
    """Yield where the chain does not hold: which row, named as a person finds it, and why."""
    last = 0

    def counted() -> Iterator[Link]:
        nonlocal last
        for link in links(using):
            last = max(last, link.number or 0)
            yield link

    for movement, why in chain.broken(counted()):
        yield _name(movement, using), why
    # Somebody may have entered more since the rows were read.
    there = Movement.objects.using(using).filter(pk=OuterRef("movement_id"))
    loose = (
        Seal.objects.using(using)
        .filter(~Exists(there), number__gt=last)
        .order_by("number")
        .first()
    )
    if loose:
        yield f"seal {loose.number}", f"is of movement {loose.movement_id}, which is gone"
    yield from _cut_off(using)


def _cut_off(using: str) -> Iterator[tuple[str, str]]:
    """Tell by the numbers that SQLite has given out that the last rows are gone.

    A number that a transaction took and gave back is free again there; PostgreSQL leaves gaps.
    """
    connection = connections[using]
    if connection.vendor != "sqlite":
        return
    for model in (Movement, Seal):
        table = model._meta.db_table
        with connection.cursor() as cursor:
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
            given = cursor.fetchone()
        there = model._base_manager.using(using).order_by("-pk").values_list("pk", flat=True)
        last = there.first() or 0
        if given and given[0] > last:
            yield (
                f"table {table}",
                f"has given out number {given[0]} and ends at {last}: its last rows are gone",
            )


def unlike(noted: Noted, using: str = "default") -> str:
    """Say how the ledger differs from what it was when a seal was noted; empty if it does not."""
    last = head(using)
    if noted.number > last.number:
        return (
            f"was noted, and the ledger ends at seal {last.number}: what was entered after is "
            "gone, or this is an older copy"
        )
    seals = Seal.objects.using(using).filter(number=noted.number).values_list("digest", flat=True)
    digest = seals.first() if noted.number else chain.BEGINNING
    if digest is None or not noted.fits(digest):
        now = Noted.of(noted.number, digest) if digest else "not there"
        return f"was noted, and it is {now} now: the ledger was changed up to there since"
    return ""


def _portions(movements: QuerySet[Movement]) -> Iterator[list[tuple[Any, ...]]]:
    """Yield rows in the order of the ledger, a few thousand at a time.

    Lots and entries are joined so that a movement whose own are gone is read all the same.
    """
    rows = _joined(movements).order_by("pk")
    last, is_more = BEFORE_ALL, True
    while is_more and (portion := _portion(rows.filter(pk__gt=last))):
        yield portion
        last, is_more = portion[-1][0], len(portion) == ROWS_AT_A_TIME


def _joined(movements: QuerySet[Movement]) -> QuerySet[Movement]:
    return movements.annotate(its_lot=FilteredRelation("lot"), its_entry=FilteredRelation("entry"))


def _portion(rows: QuerySet[Movement]) -> list[tuple[Any, ...]]:
    """Return the next rows; where one of them cannot be read, each by itself."""
    try:
        return list(rows.values_list(*SEALED)[:ROWS_AT_A_TIME])
    except UNREADABLE:
        keys = list(rows.values_list("pk", flat=True)[:ROWS_AT_A_TIME])
        return [_alone(rows, key) for key in keys]


def _alone(rows: QuerySet[Movement], key: int) -> tuple[Any, ...]:
    try:
        return rows.values_list(*SEALED).get(pk=key)
    except UNREADABLE:
        seals = Seal.objects.using(rows.db).filter(movement_id=key)
        number, digest = seals.values_list("number", "digest").first() or (None, None)
        return (key, *[None] * (len(COLUMNS) - 1), number, digest)


def _link(row: Sequence[Any]) -> Link:
    *_, number, digest = row
    try:
        line = _line(row)
    except UNREADABLE:
        line = b""
    return Link(movement=row[0], line=line, number=number, digest=digest)


def _line(row: Sequence[Any]) -> bytes:
    return chain.written(**dict(zip(COLUMNS, row, strict=False)))


def _name(movement: int, using: str) -> str:
    """Name a movement by its lot, its day and whoever entered it, as far as they can be read."""
    rows = _joined(Movement.objects.using(using)).filter(pk=movement)
    columns = ("its_lot__ref", "its_entry__recorded_at", "its_entry__by__username")
    try:
        ref, recorded_at, who = rows.values_list(*columns).get()
        day = timezone.localtime(recorded_at)
    except UNREADABLE:
        return f"movement {movement}"
    by = who or "the command line"
    return f"movement {movement} of {ref}, entered {day.day} {day:%b %Y} by {by}"
