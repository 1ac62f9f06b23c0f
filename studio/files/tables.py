"""The tables of a studio, and how a row of each is written as plain values and read again."""

from __future__ import annotations

import datetime
import json
import re
import uuid
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.auth import get_user_model
from django.db import models

from studio.models import AccessToken, Entry
from studio.roles import role_of

PEOPLE = "people"
# A key would let another machine in as somebody; keys are made anew.
LEFT_OUT: dict[type[models.Model], str] = {AccessToken: "access keys of other programs"}
AT_A_TIME = 2000
# No database keeps the empty sign, and half a sign is no text.
UNKEPT = re.compile("[\0\ud800-\udfff]")
PERSON_COLUMNS = (
    "id", "username", "first_name", "last_name", "email", "is_active", "date_joined", "role",
)  # fmt: skip


def house_models() -> list[type[models.Model]]:
    """Return every model of the house that is kept, tables between two of them included."""
    ours = [
        config for config in apps.get_app_configs()
        if Path(config.path).parent == settings.BASE_DIR
    ]  # fmt: skip
    return [
        model
        for config in ours
        for model in config.get_models(include_auto_created=True)
        if model not in LEFT_OUT and model._meta.managed
    ]


def label_of(model: type[models.Model]) -> str:
    """Return the name of a table in a file."""
    return str(model._meta.label_lower)


def columns_of(model: type[models.Model]) -> list[models.Field]:
    """Return the columns of a table."""
    return list(model._meta.concrete_fields)


def rows_of(model: type[models.Model]) -> Iterator[list[Any]]:
    """Yield the rows of a table as plain values, in the order they were written."""
    fields = columns_of(model)
    rows = model._base_manager.order_by("pk").values_list(*(field.attname for field in fields))
    for row in rows.iterator(chunk_size=AT_A_TIME):
        yield [plain(value) for value in row]


def people() -> Iterator[list[Any]]:
    """Yield who may sign in and as what; never a password."""
    for person in get_user_model().objects.prefetch_related("groups").order_by("pk"):
        told = [getattr(person, name) for name in PERSON_COLUMNS[:-1]]
        yield [*map(plain, told), role_of(person)]


def plain(value: Any) -> Any:
    """Return a value as JSON keeps it, without loss."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, datetime.date | datetime.datetime | datetime.time):
        return value.isoformat()
    return str(value) if isinstance(value, uuid.UUID) else value


def cell(value: Any) -> Any:
    """Return a plain value as a cell of CSV has it."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value


def read(field: models.Field, value: Any) -> Any:
    """Return a plain value as the column keeps it."""
    if value is None or isinstance(field, models.JSONField):
        return value
    if isinstance(value, str) and UNKEPT.search(value):
        message = "a sign in it is none that can be kept"
        raise ValueError(message)
    kept = field.target_field if field.is_relation else field
    if isinstance(value, bool) != isinstance(kept, models.BooleanField):
        message = f"{value!r} is of another kind than the column"
        raise ValueError(message)
    found = kept.to_python(value)
    if field.is_relation:
        # Whether it is there is judged at the end; whether it is a key at all, here.
        kept.run_validators(found)
    if field.choices and found not in ("", *(one for one, _ in field.flatchoices)):
        message = f"“{str(found)[:40]}” is none of those known"
        raise ValueError(message)
    return found


def points_at(field: models.Field) -> type[models.Model] | None:
    """Return what a column points at, where its keys are given anew on the way in."""
    target = field.related_model if field.is_relation else None
    return target if target in (Entry, get_user_model()) else None
