"""One entry per posted act: who, when, what, and a key so that a second click writes nothing."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import IntegrityError, transaction

from studio.models import Entry


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
    person = by if getattr(by, "is_authenticated", False) else None
    try:
        with transaction.atomic():
            return Entry.objects.create(
                request_key=key or uuid.uuid4(), act=act, said=said[:200], page=page, by=person
            )
    except IntegrityError:
        earlier = Entry.objects.filter(request_key=key).first()
        if earlier is None:
            raise
        raise AlreadyEnteredError(earlier) from None
