"""Accounts: the three roles as groups, and the owner's account of the first run."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractUser, Group
from django.db import connections

from studio.roles import OWNER, ROLES


def make_roles(using: str = "default", **kwargs: Any) -> None:
    """Make sure that the groups behind the roles are there."""
    if Group._meta.db_table in connections[using].introspection.table_names():
        for role in ROLES:
            Group.objects.using(using).get_or_create(name=role)


def make_owner(name: str, password: str | None) -> AbstractUser:
    """Make the owner's account; without a password nobody can sign in to it by one."""
    owner = get_user_model().objects.create_superuser(username=name, password=password)
    owner.groups.add(Group.objects.get(name=OWNER))
    return owner
