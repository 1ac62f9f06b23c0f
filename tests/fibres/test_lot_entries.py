"""The page of a lot shows who entered what, when and where, and what was put right later."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres import ledger, lotentries, services
from fibres.models import Lot, Movement
from studio.entries import enter
from studio.models import Entry
from studio.roles import HAND, VIEWER
from tests.builders import KG, day, make_lot, make_source, make_user, signed_in
from tests.fibres.pages import see, send

pytestmark = pytest.mark.django_db

HEAD = "Who entered what"


@pytest.fixture
def people() -> dict[str, Any]:
    return {"anna": make_user(HAND, name="anna"), "bruno": make_user(HAND, name="bruno")}


def worked_lot(people: dict[str, Any]) -> Lot:
    """Receive by Anna, take out by Bruno, put right and sample by Anna."""
    with time_machine.travel("2026-03-03 09:05+00:00", tick=False):
        lot = make_lot(received_on=date(2026, 3, 1), by=people["anna"])
    with time_machine.travel("2026-03-04 14:30+00:00", tick=False):
        told: dict[str, Any] = {"happened_on": date(2026, 3, 4), "why": "Cards"}
        issued = services.take_out(lot, as_is_mg=KG, kind="issued", by=people["bruno"], **told)
        services.correct(issued, as_is_mg=2 * KG, by=people["anna"], **told)
        services.weigh_moisture(
            lot, wet_mg=100_000, dry_mg=92_000, tare_mg=0, tested_on=date(2026, 3, 4),
            by=people["anna"],
        )  # fmt: skip
    return lot


def entered(client: Any, lot: Lot) -> str:
    """Return what a lot's page says of who entered what, and the head of what follows."""
    return str(see(client, lot.get_absolute_url()).told.partition(HEAD)[2])


def test_an_owner_sees_every_act_in_the_words_of_the_book_with_its_moment_and_page(
    owner_client: Any, people: dict[str, Any]
) -> None:
    lot = worked_lot(people)
    told = entered(owner_client, lot)
    for words in (
        f"3 Mar 2026, 09:05 Received anna Lot {lot.ref} 4 Mar",
        f"4 Mar 2026, 14:30 Issued, corrected since bruno Lot {lot.ref} 4 Mar",
        f"4 Mar 2026, 14:30 Corrected: issued 4 Mar anna Lot {lot.ref} 4 Mar",
        f"4 Mar 2026, 14:30 Moisture weighed anna Lot {lot.ref} About",
    ):
        assert words in told
    assert (
        f'<a href="{lot.get_absolute_url()}">Lot <span class="code">{lot.ref}</span></a>'
        in owner_client.get(lot.get_absolute_url()).content.decode().partition(HEAD)[2]
    )


@pytest.mark.parametrize(("year", "of_it"), [(2026, ""), (2027, " 2026")])
def test_a_lot_that_never_came_names_its_receipt_and_what_its_sample_put_right(
    owner_client: Any, year: int, of_it: str
) -> None:
    lot = make_lot(received_on=date(2026, 3, 1))
    weighed = {"wet_mg": 100_000, "dry_mg": 80_000, "tare_mg": 0}
    # As if it had come in wetter than was said, so that the sample takes fibre off the book.
    services.weigh_moisture(lot, **weighed, tested_on=date(2026, 3, 2), has_dried=False, by=None)
    received = Movement.objects.get(kind="received")
    with time_machine.travel(datetime(year, 3, 4, tzinfo=UTC)):
        services.correct(
            received, as_is_mg=0, happened_on=date(2026, 3, 3), why="Not ours", by=None
        )
    told = entered(owner_client, lot)
    assert "Received, corrected since command line" in told
    assert "Moisture weighed command line" in told
    put_right = f"moisture weighed 2 Mar{of_it}, received 1 Mar{of_it}"
    assert f"Corrected: {put_right} command line" in told


def test_what_a_making_and_a_count_moved_is_named_by_the_book_too(owner: Any) -> None:
    lot = make_lot()
    entry = enter("finish making", "M-001", page="/makings/M-001/", key=None, by=owner)
    told = {"happened_on": day(), "entry": entry}
    moved = [
        ledger.post(lot, "issued", -1000, as_is_mg=-1100, **told),
        ledger.post(lot, "returned", 500, as_is_mg=550, **told),
        ledger.post(lot, "issued", -2000, as_is_mg=-2200, **told),
    ]
    rows = lotentries.entries_of(lot, moved, [], user=owner)
    assert ("Issued, returned", "Making M-001") in [(row.said, row.place) for row in rows]


def test_what_is_said_of_a_lot_and_its_closing_stand_there_too(owner_client: Any) -> None:
    lot = make_lot()
    page = f"{lot.get_absolute_url()}edit/"
    assert send(owner_client, page, place="Shelf 3", paid_minor="12.34").status_code == 302
    owner_client.post(f"{lot.get_absolute_url()}close/", {"deed": "close"})
    told = see(owner_client, lot.get_absolute_url()).told.partition(HEAD)[2]
    assert f"Changed lot {lot.ref}: where it lies, paid" in told
    assert f"Closed lot {lot.ref}" in told


def test_a_hand_sees_what_they_entered_and_a_viewer_nothing(people: dict[str, Any]) -> None:
    lot = worked_lot(people)
    told = see(signed_in(people["bruno"]), lot.get_absolute_url()).told.partition(HEAD)[2]
    assert "What you entered" in told
    assert "Issued, corrected since bruno" in told
    assert "anna" not in told.partition(" About ")[0]
    assert HEAD not in see(signed_in(make_user(VIEWER)), lot.get_absolute_url()).told


def test_an_act_of_another_lot_is_not_shown(owner_client: Any, people: dict[str, Any]) -> None:
    worked_lot(people)
    other = make_lot()
    told = see(owner_client, other.get_absolute_url()).told.partition(HEAD)[2]
    assert "anna" not in told
    assert told.count("command line") == 1


def test_a_page_that_the_reader_may_not_open_is_named_without_a_link(
    people: dict[str, Any],
) -> None:
    lot = make_lot(by=people["anna"])
    entry = Entry.objects.create(
        request_key="00000000-0000-4000-8000-000000000009", act="change studio", said="x",
        page="/studio/", by=people["anna"],
    )  # fmt: skip
    moved = ledger.post(lot, "issued", -1000, happened_on=day(), entry=entry, as_is_mg=-1100)
    found = lotentries.entries_of(lot, [moved], [], user=people["anna"])
    shown = {row.place: row.page for row in found}
    assert shown == {"/studio/": "", f"Lot {lot.ref}": lot.get_absolute_url()}


def test_a_hidden_donor_is_not_named(owner: Any) -> None:
    source = make_source(name="Ida Fennel")
    lot = make_lot(source=source, by=owner)
    enter(
        "changed lot", "Changed lot of Ida  Fennel", page=lot.get_absolute_url(), key=None, by=None
    )
    rows = lotentries.entries_of(lot, [], [], user=owner, hidden_name="Ida Fennel")
    assert [row.said for row in rows if "lot" in row.said] == ["Changed lot of a donor"]


def test_the_clock_set_back_changes_no_order(owner_client: Any) -> None:
    with time_machine.travel(datetime(2026, 3, 10, 12, tzinfo=UTC), tick=False):
        lot = make_lot(received_on=date(2026, 3, 1))
        services.take_out(
            lot, as_is_mg=KG, kind="issued", happened_on=date(2026, 3, 9), why="First", by=None
        )
    with time_machine.travel(datetime(2026, 3, 8, 12, tzinfo=UTC), tick=False):
        services.take_out(
            lot, as_is_mg=KG, kind="discarded", happened_on=date(2026, 3, 8), why="Second", by=None
        )
    told = see(owner_client, lot.get_absolute_url()).told
    book = told.partition("Every line stays")[2].partition(HEAD)[0]
    assert book.index("First") < book.index("Second")
    entries = told.partition("Entered What was entered By")[2]
    assert entries.index("10 Mar 2026, 12:00") < entries.index("8 Mar 2026, 12:00")


def test_the_number_of_queries_is_the_same_for_one_and_for_twenty_acts(owner_client: Any) -> None:
    lot = make_lot()
    owner_client.get(lot.get_absolute_url())
    counts = []
    for times in (1, 20):
        for _ in range(times):
            services.take_out(
                lot, as_is_mg=1000, kind="issued", happened_on=day(), why="", by=make_user(HAND)
            )
        with CaptureQueriesContext(connection) as found:
            owner_client.get(lot.get_absolute_url())
        counts.append(len(found))
    assert counts[0] == counts[1]
