"""The audit finds where a making and the books part, planted behind the services' backs."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection

from fibres import services
from orders.audit import audit
from orders.makings import log
from orders.makings.finish import finish
from orders.models import Issue, Making, SheetMovement
from studio.models import Entry
from tests.builders import KG, day, make_lot
from tests.fibres.test_audit import plant
from tests.orders.vatdays import broke_fibre, logged, share

pytestmark = pytest.mark.django_db


def done() -> Making:
    making = logged()
    log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=broke_fibre(), by=None)
    return finish(making, by=None)


def said() -> list[str]:
    return [str(fault) for fault in audit().faults]


def test_a_making_that_was_logged_finished_and_corrected_has_no_fault():
    making = done()
    services.correct(
        making.issues.get().movement, as_is_mg=3 * KG, happened_on=day(), why="", by=None
    )
    logged()
    assert said() == []
    out = StringIO()
    call_command("audit", stdout=out)
    assert "2 makings: what was weighed out has left the store" in out.getvalue()


def test_an_issue_that_never_left_the_store_is_found():
    issue = done().issues.get()
    Issue.objects.update(movement=None)
    assert said() == [
        f"issue {issue.pk} of {issue.making.ref}: has not left the store, though its making is "
        "finished",
        f"movement {issue.movement_id} of {issue.lot.ref}: was issued to a making that weighed "
        "nothing out for it",
    ]


def test_an_issue_of_another_mass_or_lot_than_its_movement_is_found():
    issue = done().issues.get()
    Issue.objects.update(oven_dry_mg=1_000_000, lot=make_lot())
    assert said() == [
        f"issue {issue.pk} of {issue.making.ref}: left the store by movement "
        f"{issue.movement_id}, which is of another lot",
        f"issue {issue.pk} of {issue.making.ref}: is 1,000,000 mg and its movement -1,840,000 mg",
    ]


def test_a_making_opened_again_behind_the_book_is_found():
    making = done()
    Making.objects.update(state=Making.State.AT_THE_VAT)
    assert [fault.split(": ")[1] for fault in said()] == [
        "has left the store, though its making is at the vat",
        "has a lot of broke it has not",
        "has sheets in the book and is not finished",
        "has sheets in the book and is not finished",
    ]
    assert making.ref in said()[0]


def test_sheets_that_nobody_counted_are_found():
    making = done()
    making.posts.update(good=99)
    assert said() == [f"making {making.ref}: counted 99 good sheets and the book has 100 as made"]


def test_sheets_that_were_never_entered_are_found():
    making = done()
    plant("DELETE FROM orders_sheetmovement WHERE quality = %s", "retree")
    assert said() == [f"making {making.ref}: counted 4 retree sheets and the book has 0 as made"]


def test_more_sheets_gone_than_there_were_is_found():
    making = done()
    gone = SheetMovement.objects.create(
        making=making,
        quality="good",
        kind="spoilt",
        sheets=-101,
        happened_on=day(),
        entry=Entry.objects.get(act="finish making"),
    )
    assert said() == [f"sheet movement {gone.pk} of {making.ref}: leaves -1 good sheets in hand"]


def test_a_count_that_found_more_sheets_than_were_formed_is_found():
    making = done()
    making.posts.update(broke=3)
    entry = Entry.objects.get(act="finish making")
    for quality, sheets in (("good", -2), ("retree", 5)):
        SheetMovement.objects.create(
            making=making, quality=quality, kind="counted", sheets=sheets,
            happened_on=day(), entry=entry,
        )  # fmt: skip
    assert said() == []
    making.posts.update(broke=2)
    assert said() == [
        f"making {making.ref}: formed 106 sheets, broke among them, and by its counts 107 came "
        "of it"
    ]


def test_broke_whose_lot_is_missing_is_found():
    making = done()
    Making.objects.update(broke_lot=None)
    assert said() == [f"making {making.ref}: has no lot of the broke it kept"]


def test_a_making_that_kept_more_than_went_in_is_found():
    """1.84 kg oven-dry went in beside 0.1 kg of chalk, and 0.35 kg of broke was kept."""
    making = logged()
    log.dose(making, "Chalk", kind="filler", mass_mg=100_000, by=None)
    log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=broke_fibre(), by=None)
    lot = finish(making, by=None).broke_lot
    plant("UPDATE fibres_lot SET as_is_mg = 2000000, received_oven_dry_mg = 1940000 "
          "WHERE id = %s", lot.pk)  # fmt: skip
    assert said() == []
    plant("UPDATE fibres_lot SET received_oven_dry_mg = 1940001 WHERE id = %s", lot.pk)
    assert said() == [
        f"making {making.ref}: kept 1,940,001 mg as broke and heel, and 1,940,000 mg went into it"
    ]


def test_a_making_whose_issue_was_put_right_past_the_bound_is_found(monkeypatch):
    making = done()
    monkeypatch.setattr("fibres.keeping._answers", [])
    services.correct(making.issues.get().movement, as_is_mg=0, happened_on=day(), why="", by=None)
    assert said() == [
        f"making {making.ref}: kept 350,000 mg as broke and heel, and 0 mg went into it"
    ]


@pytest.mark.parametrize("many", [1, 4])
def test_the_audit_takes_the_same_queries_for_one_and_for_many_makings(
    django_assert_num_queries, many: int
):
    for _ in range(many):
        done()
    with django_assert_num_queries(24 if connection.vendor == "sqlite" else 18):
        audit()
