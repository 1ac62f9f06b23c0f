"""Migrations taken back: what an older database cannot say is not lost in silence."""

from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.management import CommandError
from django.db import connection

from orders import sheetsinhand
from orders.models import SheetMovement
from tests.builders import day, make_finished, make_quote, make_sheet

pytestmark = pytest.mark.django_db
STEP = import_module("orders.migrations.0005_what_a_parcel_came_to")
CARRIAGE = import_module("orders.migrations.0007_carriage_and_number_of_a_quote")


def taken_back(step=STEP):
    step.refuse_if_taken_back(apps, SimpleNamespace(connection=connection))


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


@pytest.mark.parametrize("step", [STEP, CARRIAGE])
def test_the_step_looks_before_it_takes_a_column_away(step):
    # On the way back the last operation is undone first.
    assert step.Migration.operations[-1].reverse_code is step.refuse_if_taken_back


def test_quotes_that_say_nothing_of_carriage_let_the_step_be_taken_back():
    make_quote(make_sheet())
    taken_back(CARRIAGE)


@pytest.mark.parametrize("told", [("apart", None), ("added", 1250), ("within", 1250)])
def test_a_quote_with_carriage_keeps_the_step(told):
    how, minor = told
    make_quote(make_sheet(), carriage=how, carriage_minor=minor)
    with pytest.raises(
        CommandError, match="Not taken back: Q-001 would lose what a quote says of carriage"
    ):
        taken_back(CARRIAGE)


def test_of_many_quotes_with_carriage_four_are_named():
    sheet = make_sheet()
    for _ in range(6):
        make_quote(sheet, carriage="apart")
    with pytest.raises(CommandError, match="Q-001, Q-002, Q-003, Q-004 and 2 more would lose"):
        taken_back(CARRIAGE)
