"""The attacks on rows that are written once; each is tried inside a transaction of its own."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

from django.core.management import call_command
from django.db import DatabaseError, connection, models, transaction

from fibres.models import Movement, Seal
from orders.models import AcceptedFigure, Quote, QuoteDocument, SheetMovement
from studio import appendonly, checks
from studio.appendonly import AppendOnly
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import day, make_client, make_making, make_sheet

# The text column that each attack tries to change.
GUARDED: tuple[tuple[type[AppendOnly], str], ...] = (
    (Entry, "said"),
    (Movement, "why"),
    (Seal, "digest"),
    (SheetMovement, "why"),
    (AcceptedFigure, "value"),
    (QuoteDocument, "ref"),
)


def tamper() -> dict[str, Any]:
    """Try every route on a fresh database, and again after one whose tables were rebuilt."""
    _fill()
    told: dict[str, Any] = {
        "models": sorted(model.__name__ for model in appendonly.guarded_models()),
        "tried": {},
        "rows before": _rows(),
        "check fresh": _check(),
    }
    _try_all(told, "fresh")
    for model, column in GUARDED:
        _rebuild(model, column)
    told["check after rebuilding"] = _check()
    appendonly.remove()
    told["check after removing"] = _check()
    call_command("migrate", verbosity=0)
    told["check after migrating"] = _check()
    _try_all(told, "after a migration")
    told["rows after"] = _rows()
    return told


def _fill() -> None:
    """Write one row of what the database of the faults has none of yet."""
    entry = Entry.objects.get()
    SheetMovement(
        making=make_making(),
        quality=SheetMovement.Quality.GOOD,
        kind=SheetMovement.Kind.MADE,
        sheets=1,
        happened_on=day(),
        entry=entry,
    ).save()
    quote = Quote.objects.create(
        ref="Q-001", client=make_client(), sheet=make_sheet(), title="Menus", good_quantity=1,
        valid_until=day(),
    )  # fmt: skip
    QuoteDocument(quote=quote, ref="Q-001", issued_on=day(), body={}, entry=entry).save()
    AcceptedFigure(
        figure=AcceptedFigure.Figure.BROKE,
        subject="sheet 1",
        value="0.1",
        low="0",
        high="0.2",
        makings=1,
        entry=entry,
    ).save()


def _check() -> list[str]:
    return [f"{fault.id} {fault.msg}" for fault in checks.triggers_are_there(["default"])]


def _rows() -> list[list[str]]:
    return [
        [str(value) for value in row]
        for model, _ in GUARDED
        for row in model._base_manager.order_by("pk").values_list()
    ]


def _rebuild(model: type[AppendOnly], column: str) -> None:
    """Alter a column as a migration would; SQLite copies the table to a new one for it."""
    old = model._meta.get_field(column)
    new = copy.copy(old)
    new.max_length = old.max_length + 1
    with connection.schema_editor() as editor:
        editor.alter_field(model, old, new)


def _try_all(told: dict[str, Any], when: str) -> None:
    for model, column in GUARDED:
        found = {}
        for name, attack in _attacks(model, column).items():
            try:
                with transaction.atomic():
                    attack()
            except (StudioError, DatabaseError):
                found[name] = "refused"
            else:
                found[name] = "went through"
        told["tried"][f"{model.__name__} {when}"] = found


def _attacks(model: type[AppendOnly], column: str) -> dict[str, Callable[[], Any]]:
    row = model._base_manager.get()
    setattr(row, column, "tampered")
    rows = model.objects.filter(pk=row.pk)
    plain = model._base_manager.filter(pk=row.pk)
    return {
        "save": row.save,
        "delete": row.delete,
        "update": lambda: rows.update(**{column: "tampered"}),
        "bulk update": lambda: model.objects.bulk_update([row], [column]),
        "upsert": lambda: model.objects.bulk_create(
            [row], update_conflicts=True, update_fields=[column], unique_fields=["id"]
        ),
        "raw delete": lambda: rows._raw_delete(using="default"),
        "base manager update": lambda: plain.update(**{column: "tampered"}),
        "base manager delete": plain.delete,
        "forced save": lambda: models.Model.save(row, force_update=True),
        **_raw_attacks(model, row, column),
    }


def _raw_attacks(
    model: type[AppendOnly], row: AppendOnly, column: str
) -> dict[str, Callable[[], Any]]:
    table = model._meta.db_table
    columns = ", ".join(f'"{field.column}"' for field in model._meta.local_fields)
    copied = columns.replace(f'"{column}"', "'tampered'")
    replace = f'REPLACE INTO "{table}" ({columns}) SELECT {copied} FROM "{table}"'
    attacks = {
        "raw SQL update": f'UPDATE "{table}" SET "{column}" = \'tampered\' WHERE id = {row.pk}',
        "raw SQL delete": f'DELETE FROM "{table}"',
        "replace": replace,
    }
    if connection.vendor == "postgresql":
        attacks["truncate"] = f'TRUNCATE "{table}" CASCADE'
        # PostgreSQL has no REPLACE; taking the place of a row is said this way.
        attacks["replace"] = (
            f'INSERT INTO "{table}" ({columns}) SELECT {copied} FROM "{table}" '
            f'ON CONFLICT (id) DO UPDATE SET "{column}" = excluded."{column}"'
        )
    return {name: lambda sql=sql: _execute(sql) for name, sql in attacks.items()}


def _execute(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)
