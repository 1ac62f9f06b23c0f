"""Accounts: the three roles as groups, and the owner's account of the first run."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib.auth import SESSION_KEY, get_user_model
from django.contrib.auth.models import AbstractUser, Group
from django.contrib.sessions.models import Session
from django.db import connections
from django.urls import reverse
from django.utils import timezone

from studio import tokens
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Entry, Preference
from studio.roles import OWNER, ROLES, role_of

# The apps above this one add what has to be there when an owner first looks around.
WHEN_OPENED: list[Callable[[], object]] = []


def make_roles(using: str = "default", **kwargs: Any) -> None:
    """Make sure that the groups behind the roles are there."""
    if Group._meta.db_table in connections[using].introspection.table_names():
        for role in ROLES:
            Group.objects.using(using).get_or_create(name=role)


def make_owner(name: str, password: str | None) -> AbstractUser:
    """Make the owner's account and what it finds; without a password nobody signs in by one."""
    owner = get_user_model().objects.create_superuser(username=name, password=password)
    owner.groups.add(Group.objects.get(name=OWNER))
    for prepare in WHEN_OPENED:
        prepare()
    return owner


@acting()
def keep_person(
    person: AbstractUser,
    *,
    role: str,
    is_active: bool = True,
    password: str = "",
    by: Any,
    key: uuid.UUID | None = None,
) -> AbstractUser:
    """Add an account, or change its role, whether it is open, and its password if one is given.

    The last owner who can sign in stays one. Another role ends every session of that person,
    and so does a new password. A new password and a closed account close the person's tokens.
    """
    if key is not None:
        refuse_repeat(key)
    verb = "Added" if person._state.adding else "Changed"
    if verb == "Changed":
        _refuse_other_name(person)
    loses_owner = role != OWNER or not is_active
    if verb == "Changed" and loses_owner and _is_last_owner(person):
        raise StudioError(
            f"{person.get_username()} is the only owner who can sign in. Make another one first.",
            field="role" if role != OWNER else "is_active",
            value=role,
        )
    if verb == "Changed" and _role_there(person) != role:
        end_sessions(person)
    person.is_active = is_active
    person.is_superuser = role == OWNER
    if password:
        person.set_password(password)
    person.full_clean()
    ends = verb == "Changed" and (password or not is_active)
    # Before it is saved, so that this entry says it.
    ended = tokens.close_all(person) if ends else ""
    person.save()
    person.groups.set(Group.objects.filter(name=role))
    words = [role, "" if is_active else "closed", ended]
    said = f"{verb} {person.get_username()}: {', '.join(filter(None, words))}"
    enter(f"{verb.lower()} person", said, page=reverse("studio"), key=key, by=by)
    return person


def _refuse_other_name(person: AbstractUser) -> None:
    """Keep the name of whoever has entered anything: the book says by it who did what."""
    there = get_user_model().objects.get(pk=person.pk).get_username()
    if there != person.get_username() and Entry.objects.filter(by=person).exists():
        raise StudioError(
            f"{there} has entered something, and the book names people by their user name. Keep "
            "the name, or close this account and add another one.",
            field="username",
            value=person.get_username(),
        )


def end_sessions(person: AbstractUser) -> None:
    """Sign a person out wherever that person is signed in."""
    for session in Session.objects.filter(expire_date__gt=timezone.now()):
        if session.get_decoded().get(SESSION_KEY) == str(person.pk):
            session.delete()


def _role_there(person: AbstractUser) -> str:
    """Return the role in the database, whatever was set on the person meanwhile."""
    return role_of(get_user_model().objects.get(pk=person.pk))


@acting()
def keep_own_units(person: AbstractUser, units: str, *, key: uuid.UUID | None = None) -> None:
    """Remember in which units a person reads and writes; empty for those of the studio."""
    if key is not None:
        refuse_repeat(key)
    Preference.objects.update_or_create(user=person, defaults={"units": units})
    said = f"{person.get_username()} reads {units or 'the studio’s'} units"
    enter("changed own units", said, page=reverse("you"), key=key, by=person)


@acting()
def keep_own_password(
    person: AbstractUser, password: str, *, key: uuid.UUID | None = None
) -> None:
    """Change the password of who asks; sessions begun with the old one end, and tokens close."""
    if key is not None:
        refuse_repeat(key)
    person.set_password(password)
    ended = tokens.close_all(person)
    person.save(update_fields=["password"])
    said = f"{person.get_username()} changed the own password{f', {ended}' if ended else ''}"
    enter("changed own password", said, page=reverse("you"), key=key, by=person)


def _is_last_owner(person: AbstractUser) -> bool:
    owners = get_user_model().objects.select_for_update().filter(is_active=True, is_superuser=True)
    return [owner.pk for owner in owners] == [person.pk]
