"""A promise whose sheets are all made: every page and command says so, and no fibre is held."""

import json
from io import StringIO

import pytest
from django.core.management import call_command

from orders import services, sheetsinhand
from tests.builders import day, make_commission, make_finished, make_lot
from tests.orders.looking import form_data, look, said
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db
WAITS = "C-101 is all made and waits to be sent."


@pytest.fixture
def made(sheet, fibre):
    make_lot(fibre, as_is_mg=500_000)
    asked = make_commission(sheet, ref="C-101", title="Song sheets", state="making")
    return make_finished(asked, ref="R-207", good=100)


def told(*arguments, **options):
    out = StringIO()
    call_command("cover", *arguments, stdout=out, **options)
    return out.getvalue()


@pytest.mark.parametrize("address", ["/", "/commissions/"])
def test_the_pages_of_promises_say_so(viewer_client, made, address):
    page = look(viewer_client, address)
    assert WAITS in said(page)
    assert "All made" in said(page)


def test_it_leaves_its_fibre_to_others(made, sheet):
    other = make_commission(sheet, ref="C-102", good_quantity=50)
    (answer,) = services.cover(day()).commissions
    assert answer.ref == other.ref
    assert answer.short == ()


def test_the_command_says_so_for_all_and_for_one(made):
    assert told() == f"{WAITS}\n"
    assert told("C-101") == "All its sheets are made, so it holds no fibre.\n"


def test_the_json_keeps_its_keys(made, sheet):
    make_commission(sheet, ref="C-102", good_quantity=50)
    whole, one = json.loads(told(json=True)), json.loads(told("C-101", json=True))
    assert set(whole) == set(one)
    assert [row["ref"] for row in whole["commissions"]] == ["C-102"]
    assert one["commissions"] == []


def test_strict_finds_nothing_short_in_it(made):
    told("C-101", strict=True)


def test_once_it_is_sent_it_waits_no_more(viewer_client, made):
    rows = [sheetsinhand.Sending(made, "good", 100)]
    sheetsinhand.send(made.commission, rows, sheetsinhand.ParcelNote(sent_on=day()), by=None)
    assert WAITS not in said(look(viewer_client, "/commissions/"))


def test_its_form_says_that_it_takes_no_fibre(owner_client, made):
    address = "/commissions/C-101/edit/"
    page = look(owner_client, address)
    assert "All its sheets are made, so it holds no fibre." in said(page)
    typed = form_data(page, good_quantity=130, work_out="1")
    panel = Page(owner_client.post(address, typed).content.decode()).one("aside").text
    # 130 asked for, 100 made: of the 30 left, 500 g as is cover all (51, by hand elsewhere).
    assert "The store covers all 30" in panel
    assert "Made for it already" in panel
