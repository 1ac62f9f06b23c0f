"""Costing in depth on its pages and in the command: the studio's way, range, ladder, movers."""

import json
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from orders import demo, services
from studio import people
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_offer,
    make_sheet,
    make_source,
    make_studio,
)
from tests.orders.looking import heads, look, said
from tests.orders.test_actuals import run as finish_one

pytestmark = pytest.mark.django_db


def run(*args):
    out = StringIO()
    call_command(*args, stdout=out)
    return out.getvalue().replace("\u00a0", " ")


@pytest.fixture
def fibre():
    return make_fibre(name="Abaca sheet pulp", preparation_yield=Decimal(1))


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}), name="Text A4")


@pytest.fixture
def asked(sheet):
    return make_commission(sheet, ref="C-101")


# --- the studio's way ----------------------------------------------------------------------------


def dry(fibre, paid, kg=10, **changes):
    return make_lot(fibre, as_is_mg=kg * KG, moisture="0", paid_minor=paid, **changes)


def fibre_price(ref="C-101"):
    commission = services.Commission.objects.get(ref=ref)
    cover, answer = services.cover_of(commission, day())
    cost = services.cost_of(commission, picks=answer.picks, cover=cover)
    return cost.parts[0].because.split(" at ")[1]


def test_a_lot_that_the_commission_names_counts_at_its_own_cost(fibre, asked):
    dry(fibre, 90_000)
    named = dry(fibre, 1_000)
    asked.only_lots.add(named)
    assert fibre_price() == "£1.00 a kg"


def test_on_average_all_lots_have_one_price(fibre, asked):
    # By hand: 910.00 for 20 kg is 45.50.
    make_studio(book_cost="average")
    dry(fibre, 90_000)
    dry(fibre, 1_000)
    assert fibre_price() == "£45.50 a kg"
    assert "book cost at the moving average of its lots" in run("cost", "C-101")


def test_a_later_promise_costs_what_an_earlier_one_leaves(fibre, sheet):
    # By hand: each wants 835.447 g; the first 1 kg at 10.00 goes to the promise due before, and
    # 164.553 g of it are left: (164.553 × 10.00 + 670.894 × 20.00) / 835.447 is 18.03.
    dry(fibre, 1_000, kg=1)
    dry(fibre, 20_000)
    make_commission(sheet, ref="C-100", due=day(-20))
    make_commission(sheet, ref="C-101", due=day(-40))
    assert fibre_price("C-100") == "£10.00 a kg"
    assert fibre_price("C-101") == "£18.03 a kg"
    assert "£18.03 a kg" in run("cost", "C-101")


def test_the_price_of_today_stands_beside_the_book(fibre, asked, owner_client):
    # By hand: 100 good take 114 pulls of 7.328475 g = 835.446 g; at 30.00 and not 10.00 that is
    # 16.71 more, 0.17 a good sheet.
    make_studio(trial_pulls=0, price_rate=Decimal(0))
    dry(fibre, 10_000)
    make_offer(fibre, make_source(name="Oastler Pulp"), minor_per_kg=3000, price_per="oven-dry")
    for words in (run("cost", "C-101"), said(look(owner_client, "/commissions/C-101/"))):
        assert "£0.17 more than reckoned" in words
    page = look(owner_client, "/commissions/C-101/")
    assert "offer of Oastler Pulp, before freight" in said(page)


# --- the page of a commission --------------------------------------------------------------------


def test_the_owner_reads_range_ladder_and_what_moves_the_price(fibre, asked, owner_client):
    dry(fibre, 10_000)
    page = look(owner_client, "/commissions/C-101/")
    text = said(page)
    assert "In eight makings of ten a good sheet costs from £" in text
    assert "the set-up of £" in text
    assert "The price moves most with this: minutes of a pull." in text
    assert heads(page, "Price at several") == ["10", "25", "50", "100", "250"]
    assert heads(page, "Price of a good sheet, one")[0] == "Minutes of a pull"
    titles = [one.text for one in page.all("title")]
    assert titles.count("Price of a good sheet at several numbers, £") == 2
    assert titles.count("What moves the price of a good sheet, £") == 2
    ids = page.ids()
    assert sorted(ids) == sorted(set(ids))


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_reads_none_of_it(request, who, fibre, asked):
    dry(fibre, 10_000)
    page = look(request.getfixturevalue(who), "/commissions/C-101/")
    titles = [head.text for head in page.all("h2")]
    assert not {"Cost", "Price", "What moves it", "As it came"} & set(titles)
    assert "In eight makings of ten" not in said(page)
    assert not any("Price" in one.text for one in page.all("title"))


# --- the bench -----------------------------------------------------------------------------------


def test_the_owner_asks_the_bench_what_a_sheet_costs(fibre, sheet, owner_client):
    dry(fibre, 10_000)
    page = look(owner_client, "/bench/", sum="cost", sheet=str(sheet.pk), wanted="80")
    text = said(page)
    assert "In eight makings of ten" in text
    assert heads(page, "Price at several") == ["10", "25", "50", "80", "100", "250"]
    assert "newest price" not in text or "newest price, paid for" in text
    assert "Cost of a sheet" in [head.text for head in page.all("h2")]


def test_the_bench_waits_until_it_is_asked(owner_client):
    text = said(look(owner_client, "/bench/"))
    assert "Choose a sheet and a number, and its cost and price appear here." in text


def test_a_sheet_that_cannot_be_costed_says_why(sheet, owner_client):
    sheet.furnish.parts.all().delete()
    page = look(owner_client, "/bench/", sum="cost", sheet=str(sheet.pk), wanted="80")
    assert "has no fibre yet" in said(page)


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_the_bench_tells_nobody_else_what_a_sheet_costs(request, who, fibre, sheet):
    dry(fibre, 10_000)
    client = request.getfixturevalue(who)
    page = look(client, "/bench/", sum="cost", sheet=str(sheet.pk), wanted="80")
    assert "Cost of a sheet" not in [head.text for head in page.all("h2")]
    assert "£" not in page.one("html").text


# --- the command ---------------------------------------------------------------------------------


def test_several_numbers_are_set_side_by_side(fibre, asked):
    dry(fibre, 10_000)
    text = run("cost", "C-101", "--quantity", "10", "100")
    assert "Set-up in it" in text
    assert "is earned from" in text


def test_in_depth_says_what_moves_the_price(fibre, asked):
    dry(fibre, 10_000)
    text = run("cost", "C-101", "--in-depth")
    assert "The price moves most with this: minutes of a pull." in text
    assert "Price of Abaca sheet pulp: £" in text
    assert "       250" in text


def test_in_depth_as_json_holds_range_ladder_and_movers(fibre, asked):
    dry(fibre, 10_000)
    told = json.loads(run("cost", "C-101", "--in-depth", "--json"))
    assert told["range"]["cost_low"] < told["per_sheet"]["total"] < told["range"]["cost_high"]
    assert [rung["quantity"] for rung in told["ladder"]] == [10, 25, 50, 100, 250]
    assert told["sensitivity"][0]["input"] == "Minutes of a pull"
    assert isinstance(told["set_up_earned_from"], int)


def test_actual_says_what_came(fibre, asked):
    dry(fibre, 10_000)
    finish_one(asked, issued=((0, 2 * KG),))
    text = run("cost", "C-101", "--actual")
    assert "90 good sheets came of 100" in text
    assert "Fibre issued" in text
    told = json.loads(run("cost", "C-101", "--actual", "--json"))
    assert (told["ref"], told["good"], told["good_reckoned"]) == ("C-101", 90, 100)
    # By hand: 2 kg at 10.00.
    assert told["lines"][0]["actual"] == 20.0


def test_before_anything_is_finished_actual_says_so(asked):
    make_making(commission=asked)
    with pytest.raises(CommandError, match="No making of C-101 is finished yet"):
        run("cost", "C-101", "--actual")


def test_page_command_and_bench_agree(fibre, asked, owner_client):
    dry(fibre, 10_000)
    sentence = next(
        line.strip() for line in run("cost", "C-101").splitlines() if "In eight" in line
    )
    assert sentence in said(look(owner_client, "/commissions/C-101/"))


# --- the invented studio of the trade notes ------------------------------------------------------


def test_the_demo_costs_what_the_trade_notes_reckon():
    """Scenario H1, its fibre first in, first out, in the order in which promises need it.

    By hand: C-001 takes 11.311 kg of linter, all of the first lot (8.20 as is at 7.5 %, 8.8649
    oven-dry), and 2.857 kg of abaca at 18.3333: 100.27 + 52.38 = 152.65, 1.27 each of 120. C-002
    ends the first lot, so the 2.306 kg of C-003 are of the second (7.90 at 9 %, 8.6813).
    """
    today = day()
    demo.make(today, people.make_owner("demo owner", None))
    found = {}
    for ref in ("C-001", "C-003"):
        commission = services.Commission.objects.get(ref=ref)
        cover, answer = services.cover_of(commission, today)
        cost = services.cost_of(commission, picks=answer.picks, cover=cover)
        found[ref] = (
            round(cost.parts[0].minor_per_sheet),
            round(cost.total_minor_per_sheet),
            cost.price_minor_per_sheet,
        )
    assert found == {"C-001": (127, 474, 677), "C-003": (81, 458, 654)}
