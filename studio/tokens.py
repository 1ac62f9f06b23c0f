"""Tokens with which other programs read as one person; the token itself is kept nowhere."""

from __future__ import annotations

import hashlib
import secrets
import uuid
from typing import Any

from django.db import OperationalError, transaction
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone

from studio.entries import acting, enter, refuse_repeat
from studio.models import AccessToken

BYTES = 32
# Longer than any of ours: what is longer is not worth reading.
LONGEST = 200


def digest_of(token: str) -> str:
    """Return what a token is found by; the token cannot be told from it."""
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()


@acting()
def make(person: Any, name: str, *, key: uuid.UUID | None = None) -> str:
    """Make a token for a person and return it, for the only time."""
    if key is not None:
        refuse_repeat(key)
    token = secrets.token_urlsafe(BYTES)
    row = AccessToken(user=person, name=name, digest=digest_of(token))
    row.full_clean()
    row.save()
    said = f"{person.get_username()} made a token for {name}"
    enter("made token", said, page=reverse("you_tokens"), key=key, by=person)
    return token


def found_by(token: str) -> AccessToken | None:
    """Return the row of a token that may still be used, with its person; None else."""
    if not 0 < len(token) <= LONGEST:
        return None
    rows = open_tokens().select_related("user").prefetch_related("user__groups")
    return rows.filter(digest=digest_of(token), user__is_active=True).first()


def open_tokens() -> QuerySet[AccessToken]:
    """Return the tokens that nobody has closed."""
    return AccessToken.objects.filter(closed_on=None)


def note_use(row: AccessToken) -> None:
    """Remember the day of use, once a day; where the database is busy, the next use does it."""
    today = timezone.localdate()
    if row.used_on == today:
        return
    try:
        with transaction.atomic():  # noqa: TID251 - no act of a person
            AccessToken.objects.filter(pk=row.pk).update(used_on=today)
    except OperationalError:
        return


@acting()
def close(row: AccessToken, *, by: Any, page: str, key: uuid.UUID | None = None) -> None:
    """Close a token for good: a program that still sends it is refused from now on."""
    if key is not None:
        refuse_repeat(key)
    AccessToken.objects.filter(pk=row.pk, closed_on=None).update(closed_on=timezone.localdate())
    said = f"Closed the token of {row.user.get_username()} for {row.name}"
    enter("closed token", said, page=page, key=key, by=by)


def close_all(person: Any) -> str:
    """Close every token of a person inside the caller's act; say so in words, or nothing.

    Whoever learned a password could have made one: a new password alone would leave it open.
    """
    count = open_tokens().filter(user=person).update(closed_on=timezone.localdate())
    if not count:
        return ""
    return "1 token closed" if count == 1 else f"{count} tokens closed"


@acting()
def close_after_new_password(person: Any) -> None:
    """Close what an act that gave a new password has left open, such as “changepassword”."""
    if ended := close_all(person):
        said = f"{person.get_username()} has a new password, {ended}"
        enter("closed token", said, page=reverse("people"), key=None, by=None)
