"""One entry per posted act: who, when, what, and a key so that a second click writes nothing.

Acts are done one after another, on both engines. The seals of the ledger form one chain, so that
two acts that post anything wait for each other in any case; taking that turn first, before any row
is locked, is what keeps two of them from waiting for each other for ever.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import IntegrityError, connection, transaction

from studio.models import Entry

# The lock on PostgreSQL that an act holds to its end; "halfstuf" in eight bytes.
TURN = int.from_bytes(b"halfstuf", "big")


@contextmanager
def acting() -> Iterator[None]:
    """Do an act in one transaction that begins when it is its turn; also a decorator.

    An act within an act is part of it.
    """
    with transaction.atomic():  # noqa: TID251 - this is the place
        if _is_acting():
            yield
            return
        take_turn()
        connection.is_acting = True
        try:
            yield
        finally:
            connection.is_acting = False


def _is_acting() -> bool:
    return getattr(connection, "is_acting", False)


def take_turn() -> None:
    """Wait until no other act is being done; SQLite does so where a transaction begins."""
    if connection.vendor == "postgresql" and not _is_acting():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [TURN])


class AlreadyEnteredError(Exception):
    """The act was entered before, under the same key; ``entry`` is that first one."""

    def __init__(self, entry: Entry) -> None:
        super().__init__(entry.said)
        self.entry = entry


def refuse_repeat(key: uuid.UUID) -> None:
    """Stop early, before any reading, where the act has been entered already."""
    earlier = Entry.objects.filter(request_key=key).first()
    if earlier is not None:
        raise AlreadyEnteredError(earlier)


def enter(act: str, said: str, *, page: str, key: uuid.UUID | None, by: Any) -> Entry:
    """Claim the key inside the caller's transaction; of two at once, one is told of the other."""
    take_turn()
    person = by if getattr(by, "is_authenticated", False) else None
    try:
        with transaction.atomic():  # noqa: TID251 - only the key is claimed
            return Entry.objects.create(
                request_key=key or uuid.uuid4(), act=act, said=said[:200], page=page, by=person
            )
    except IntegrityError:
        earlier = Entry.objects.filter(request_key=key).first()
        if earlier is None:
            raise
        raise AlreadyEnteredError(earlier) from None
