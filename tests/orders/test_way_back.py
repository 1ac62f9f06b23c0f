"""Migrations taken back: what an older database cannot say is not lost in silence."""

from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.management import CommandError
from django.db import connection

from orders import sheetsinhand
from orders.models import SheetMovement
from tests.builders import day, make_finished

pytestmark = pytest.mark.django_db
STEP = import_module("orders.migrations.0005_what_a_parcel_came_to")


def taken_back():
    STEP.refuse_if_taken_back(apps, SimpleNamespace(connection=connection))


@pytest.fixture
def spoilt():
    making = make_finished(good=20)
    sheetsinhand.spoil(making, "good", 4, happened_on=day(2), why="Mildew", by=None)
    return SheetMovement.objects.get(kind="spoilt")


def test_without_sheets_put_back_the_step_is_taken_back(spoilt):
    taken_back()


def test_sheets_put_back_keep_the_step(spoilt):
    sheetsinhand.take_back_spoilt(spoilt, happened_on=day(), why="It was dust", by=None)
    with pytest.raises(CommandError, match=r"\(1 entries\).*would count as made anew"):
        taken_back()


def test_the_step_looks_before_it_takes_a_column_away():
    # On the way back the last operation is undone first.
    assert STEP.Migration.operations[-1].reverse_code is STEP.refuse_if_taken_back
