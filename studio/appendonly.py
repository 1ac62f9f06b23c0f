"""Tables that only grow: guarded in Python for a kind sentence, in the database for certain.

SQLite drops a table's triggers whenever a migration rebuilds the table, so they are put back
after every migration, and their absence is reported when the program starts.
"""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.db import connections, models, transaction

from studio.errors import StudioError

ADVICE = "A row of {name} is never changed or removed. Enter a correction, which is a new row."


class AppendOnlyQuerySet(models.QuerySet):
    """A queryset that can add and read, and nothing else."""

    def update(self, **values: Any) -> int:
        """Refuse: rows are never changed."""
        raise StudioError(ADVICE.format(name=self.model._meta.verbose_name))

    def delete(self) -> tuple[int, dict[str, int]]:
        """Refuse: rows are never removed."""
        raise StudioError(ADVICE.format(name=self.model._meta.verbose_name))

    delete.alters_data = True  # type: ignore[attr-defined]
    delete.queryset_only = True  # type: ignore[attr-defined]

    def bulk_update(self, *args: Any, **kwargs: Any) -> int:
        """Refuse: rows are never changed."""
        raise StudioError(ADVICE.format(name=self.model._meta.verbose_name))


class AppendOnly(models.Model):
    """A row that is written once."""

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, **kwargs: Any) -> None:
        """Write the row the first time; refuse a second."""
        if not self._state.adding:
            raise StudioError(ADVICE.format(name=self._meta.verbose_name))
        super().save(**{**kwargs, "force_insert": True})

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        """Refuse: rows are never removed."""
        raise StudioError(ADVICE.format(name=self._meta.verbose_name))


def guarded_models() -> list[type[AppendOnly]]:
    """Return every model whose table only grows."""
    return [model for model in apps.get_models() if issubclass(model, AppendOnly)]


def whole_numbers(model: type[AppendOnly]) -> list[str]:
    """Return the columns that keep whole numbers and nothing else."""
    return [
        field.column
        for field in model._meta.local_fields
        if isinstance(field, models.BigIntegerField) and not field.primary_key
    ]


def triggers_of(connection: Any, model: type[AppendOnly]) -> dict[str, str]:
    """Return what stands between CREATE TRIGGER and its end, by the trigger's name."""
    table = model._meta.db_table
    if connection.vendor == "postgresql":
        return {
            f"{table}_no_{event}": f'BEFORE {event.upper()} ON "{table}" FOR EACH STATEMENT '
            f'EXECUTE FUNCTION "{table}_refuse"()'
            for event in ("update", "delete", "truncate")
        }
    stop = f"BEGIN SELECT RAISE(ABORT, '{table} only grows'); END"
    found = {
        f"{table}_no_{event}": f'BEFORE {event.upper()} ON "{table}" {stop}'
        for event in ("update", "delete")
    }
    columns = whole_numbers(model)
    if columns:
        # SQLite keeps text in an integer column if it is given text.
        wrong = " OR ".join(
            f"typeof(NEW.\"{column}\") NOT IN ('integer', 'null')" for column in columns
        )
        found[f"{table}_whole_numbers"] = (
            f'BEFORE INSERT ON "{table}" WHEN {wrong} BEGIN '
            f"SELECT RAISE(ABORT, '{table} keeps whole numbers'); END"
        )
    return found


def _function(table: str) -> str:
    return (
        f'CREATE OR REPLACE FUNCTION "{table}_refuse"() RETURNS trigger AS $$ BEGIN '
        f"RAISE EXCEPTION '{table} only grows' USING ERRCODE = 'restrict_violation'; "
        "END $$ LANGUAGE plpgsql"
    )


def _drop(connection: Any, table: str, name: str) -> str:
    on_table = f' ON "{table}"' if connection.vendor == "postgresql" else ""
    return f'DROP TRIGGER IF EXISTS "{name}"{on_table}'


def _guarded(connection: Any) -> list[type[AppendOnly]]:
    """Return the guarded models whose tables exist."""
    tables = set(connection.introspection.table_names())
    return [model for model in guarded_models() if model._meta.db_table in tables]


def install(using: str = "default", **kwargs: Any) -> None:
    """Put the triggers on every guarded table that exists."""
    connection = connections[using]
    for model in _guarded(connection):
        # Wholly or not at all: broken off between the two, a table would stand open. One table
        # at a time, so that on PostgreSQL nobody waits for two of them.
        with transaction.atomic(using=using):  # noqa: TID251 - no act: nothing is entered
            _guard(connection, model)


def _guard(connection: Any, model: type[AppendOnly]) -> None:
    table = model._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_function(table))
        for name, body in triggers_of(connection, model).items():
            cursor.execute(_drop(connection, table, name))
            cursor.execute(f'CREATE TRIGGER "{name}" {body}')


def remove(using: str = "default") -> None:
    """Take the triggers off; for emptying a test database, never for use on a studio's own."""
    connection = connections[using]
    with connection.cursor() as cursor:
        for model in _guarded(connection):
            for name in triggers_of(connection, model):
                cursor.execute(_drop(connection, model._meta.db_table, name))


def missing(using: str = "default") -> list[str]:
    """Return the guarded tables that lack a trigger."""
    connection = connections[using]
    query = (
        "SELECT tgname FROM pg_trigger WHERE tgenabled <> 'D'"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        present = {row[0] for row in cursor.fetchall()}
    return [
        model._meta.db_table
        for model in _guarded(connection)
        if not present.issuperset(triggers_of(connection, model))
    ]
