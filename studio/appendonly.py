"""Tables that only grow: guarded in Python for a kind sentence, in the database for certain.

SQLite drops a table's triggers whenever a migration rebuilds the table, so they are put back
after every migration, and their absence is reported when the program starts.
"""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.db import connections, models

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


def trigger_names(table: str) -> tuple[str, ...]:
    """Return the names of the triggers that guard a table."""
    return f"{table}_no_update", f"{table}_no_delete"


def _sqlite(table: str, integers: list[str]) -> list[str]:
    statements = []
    for name, event in zip(trigger_names(table), ("UPDATE", "DELETE"), strict=True):
        statements += [
            f'DROP TRIGGER IF EXISTS "{name}"',
            f'CREATE TRIGGER "{name}" BEFORE {event} ON "{table}" BEGIN '
            f"SELECT RAISE(ABORT, '{table} only grows'); END",
        ]
    if integers:
        # SQLite keeps text in an integer column if it is given text.
        wrong = " OR ".join(f"typeof(NEW.\"{column}\") <> 'integer'" for column in integers)
        name = f"{table}_whole_numbers"
        statements += [
            f'DROP TRIGGER IF EXISTS "{name}"',
            f'CREATE TRIGGER "{name}" BEFORE INSERT ON "{table}" WHEN {wrong} BEGIN '
            f"SELECT RAISE(ABORT, '{table} keeps whole numbers'); END",
        ]
    return statements


def _postgresql(table: str) -> list[str]:
    refuse = f"{table}_refuse"
    statements = [
        f'CREATE OR REPLACE FUNCTION "{refuse}"() RETURNS trigger AS $$ BEGIN '
        f"RAISE EXCEPTION '{table} only grows' USING ERRCODE = 'restrict_violation'; "
        "END $$ LANGUAGE plpgsql"
    ]
    events = (*zip(trigger_names(table), ("UPDATE", "DELETE"), strict=True),)
    for name, event in (*events, (f"{table}_no_truncate", "TRUNCATE")):
        statements += [
            f'DROP TRIGGER IF EXISTS "{name}" ON "{table}"',
            f'CREATE TRIGGER "{name}" BEFORE {event} ON "{table}" '
            f'FOR EACH STATEMENT EXECUTE FUNCTION "{refuse}"()',
        ]
    return statements


def _statements(connection: Any, model: type[AppendOnly]) -> list[str]:
    table = model._meta.db_table
    if connection.vendor == "postgresql":
        return _postgresql(table)
    integers = [
        field.column
        for field in model._meta.local_fields
        if isinstance(field, models.BigIntegerField) and not field.null and not field.primary_key
    ]
    return _sqlite(table, integers)


def install(using: str = "default", **kwargs: Any) -> None:
    """Put the triggers on every guarded table that exists."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for model in guarded_models():
            if model._meta.db_table in tables:
                for statement in _statements(connection, model):
                    cursor.execute(statement)


def remove(using: str = "default") -> None:
    """Take the triggers off; for emptying a test database, never for use on a studio's own."""
    connection = connections[using]
    with connection.cursor() as cursor:
        for model in guarded_models():
            table = model._meta.db_table
            suffix = f' ON "{table}"' if connection.vendor == "postgresql" else ""
            for name in (*trigger_names(table), f"{table}_no_truncate"):
                cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"{suffix}')


def missing(using: str = "default") -> list[str]:
    """Return the guarded tables that lack a trigger."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    query = (
        "SELECT tgname FROM pg_trigger"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        present = {row[0] for row in cursor.fetchall()}
    return [
        model._meta.db_table
        for model in guarded_models()
        if model._meta.db_table in tables
        and not present.issuperset(trigger_names(model._meta.db_table))
    ]
