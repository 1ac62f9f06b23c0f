"""Rows changed behind the program's back, with the chain of seals left as it is or made anew."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection

from fibres import sealing
from fibres.calc import chain
from fibres.models import Seal
from studio import appendonly


@contextmanager
def unguarded() -> Iterator[None]:
    """Take the triggers off for as long as rows are tampered with."""
    appendonly.remove()
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute('DROP TRIGGER IF EXISTS "fibres_movement_whole_numbers"')
            cursor.execute("PRAGMA ignore_check_constraints = ON")
    try:
        yield
    finally:
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA ignore_check_constraints = OFF")
        appendonly.install()


@contextmanager
def resealed() -> Iterator[None]:
    """Tamper, and make the chain anew: what is found then is found without it."""
    with unguarded():
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM fibres_seal")
        yield
        digest = chain.BEGINNING
        for number, link in enumerate(list(sealing.links()), start=1):
            digest = chain.next_digest(digest, number=number, line=link.line)
            Seal(number=number, movement_id=link.movement, digest=digest).save()
        _end_numbers_at_the_last_row()


def _end_numbers_at_the_last_row() -> None:
    """Hide that rows at the end are gone from the numbers that SQLite has given out."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            for table in ("fibres_movement", "fibres_seal"):
                cursor.execute(
                    f"UPDATE sqlite_sequence SET seq = (SELECT COALESCE(MAX(id), 0) FROM {table}) "
                    "WHERE name = %s",
                    [table],
                )
