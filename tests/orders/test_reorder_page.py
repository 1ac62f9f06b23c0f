"""The Reorder page: what falls short, what to buy, and what is done about it."""

import pytest
from django.urls import reverse

from orders import reordering
from orders import reorderwording as wording
from orders.calc.bought import NO_OFFER, ORDER_NOW, TOO_LATE, Change, DayBalance
from orders.models import StoredPlan
from orders.views import reorder as reorder_view
from orders.wording import day as worded
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_offer,
    make_sheet,
    make_source,
    make_studio,
)
from tests.orders.looking import heads, look, queries, said, same_queries_for_1_and_20
from tests.orders.reorders import ahead, at_rest, flag, line, order, reorder

pytestmark = pytest.mark.django_db

ADDRESS = "/reorder/"
LOOSE = 0.05


def answering(planner, *flags, **changes):
    planner.answers = [reorder(*planner.answers[0].purchases, flags=flags, **changes)]


# --- what it says


def test_the_lede_says_how_many_orders_what_they_cost_and_when_the_first_leaves(
    owner_client, planner
):
    first = order(source="Greyling Fibres", order_on=ahead(1), arrives_on=ahead(8))
    planner.answers = [reorder(order(), first)]
    page = look(owner_client, ADDRESS)
    assert "Two orders, £76.60 with freight. The first has to leave tomorrow." in said(page)


def test_nothing_to_order_is_said(owner_client, planner):
    planner.answers = [reorder(flags=[at_rest()])]
    page = look(owner_client, ADDRESS)
    assert "Nothing has to be ordered in the next 13 weeks." in said(page)
    assert "There is nothing to buy." in said(page)


def test_with_nothing_to_plan_for_the_page_leads_to_the_next_steps(owner_client, planner):
    planner.answers = [reorder(flags=[])]
    page = look(owner_client, ADDRESS)
    assert "Nothing is promised, and no fibre has a minimum to keep." in said(page)
    links = {link.attrs["href"] for link in page.all("a", class_="tall")}
    assert {reverse("commission_new"), reverse("fibres"), reverse("offer_new")} <= links


def test_a_promise_that_lacks_fibre_is_told_from_a_minimum_that_is_not_kept(owner_client, planner):
    low = flag(
        "Linter",
        minimum_mg=3 * KG,
        commissions=(),
        promised_mg=0,
        balances=(DayBalance(ahead(0), 2 * KG),),
        short_on=ahead(0),
    )
    answering(planner, flag(), low)
    page = said(look(owner_client, ADDRESS))
    assert "No plan without a purchase: T-1 lacks 1.000 kg usable of it." in page
    assert "Only the minimum of 3.000 kg usable is at stake: 1.250 kg oven-dry is missing." in page
    assert "Below its minimum now, and no promise is short of it." in page


def test_many_fibres_stand_on_several_pages_and_each_is_found(owner_client, planner, monkeypatch):
    monkeypatch.setattr(reorder_view, "FIBRES_A_PAGE", 2)
    fibres = [make_fibre(name=name) for name in ("Esparto", "Flax", "Hemp", "Kozo", "Linter")]
    answering(planner, *(flag(one.name) for one in fibres[:3]), *map(at_rest, ("Kozo", "Linter")))
    drawn = [
        [name for one in fibres if f"{(name := one.name)}, usable fibre ahead" in said(page)]
        for page in (
            look(owner_client, f"{ADDRESS}?weeks=8&page={number}") for number in (1, 2, 3)
        )
    ]
    assert drawn == [["Esparto", "Flax"], ["Hemp", "Kozo"], ["Linter"]]
    last = look(owner_client, f"{ADDRESS}?fibre={fibres[4].pk}&weeks=8")
    assert "Page 3 of 3, 5 fibres" in said(last)
    assert last.one("a", rel="prev").attrs["href"] == f"{ADDRESS}?weeks=8&page=2"
    assert last.one("details", id=f"fibre-{fibres[4].pk}")


def test_a_day_on_which_many_draw_names_a_few_of_them(owner_client, planner):
    many = tuple(Change(f"T-{number}", -KG) for number in range(1, 24))
    answering(
        planner,
        flag(balances=(DayBalance(ahead(0), 2 * KG), DayBalance(ahead(20), -7 * KG, many))),
    )
    page = look(owner_client, ADDRESS)
    assert "T-19, T-20 and 3 more" in said(page)


def test_every_state_has_its_word(owner_client, planner):
    answering(
        planner,
        flag("A", state=ORDER_NOW, order_by=ahead(0)),
        flag("B"),
        flag("C", state=TOO_LATE, order_by=None, earliest=ahead(40)),
        flag("D", state=NO_OFFER, order_by=None),
    )
    page = look(owner_client, ADDRESS)
    told = [one.text for one in page.all("p") if one.inside[-1:] == ["header"]]
    assert told[:4] == [
        f"Too late: earliest arrival {worded(ahead(40), day())}",
        "Order now",
        "No offer known",
        f"Order by {worded(ahead(10), day())}",
    ]


def test_fibres_with_nothing_to_do_stand_together_at_the_end(owner_client, planner):
    answering(planner, flag(), at_rest("Kozo"), at_rest("Mitsumata"))
    page = look(owner_client, ADDRESS)
    assert "Kozo and Mitsumata need nothing for the next 13 weeks" in said(page)
    assert [title.text for title in page.all("h2")].count("Kozo") == 0


def test_the_balance_is_drawn_and_stands_in_a_table(owner_client, planner):
    answering(planner, flag())
    page = look(owner_client, ADDRESS)
    assert heads(page, "Abaca, usable fibre ahead") == [
        worded(day(), day()), worded(ahead(20), day()),
    ]  # fmt: skip
    drawn = [text.text for text in page.all("text")]
    assert "Today" in drawn
    figures = [
        cell.text
        for cell in page.all("td", class_="n")
        if "figure" in cell.inside and cell.text.strip()
    ]
    assert figures == ["2.000", "−3.000", "−1.000"]


def test_a_commission_that_is_short_is_struck_through_in_the_drawing(owner_client, planner, offer):
    make_commission(make_sheet(make_furnish({offer.fibre: "1"})), ref="T-1")
    drawn = [text.text for text in look(owner_client, ADDRESS).all("text")]
    assert "T-1, short" in drawn


def test_pounds_are_shown_where_the_studio_measures_in_them(owner_client, planner):
    make_studio(units="US")
    page = said(look(owner_client, ADDRESS))
    assert "Balance, lb usable" in page
    assert "kg" not in page


@pytest.mark.parametrize(
    ("asked", "weeks"), [("8", 8), ("3", 4), ("99", 26), ("soon", 13), ("", 13), ("-5", 13)]
)
def test_a_number_of_weeks_out_of_range_is_brought_into_it(owner_client, planner, asked, weeks):
    page = look(owner_client, ADDRESS, weeks=asked)
    assert page.one("input", name="weeks", type="number").attrs["value"] == str(weeks)


# --- the plan


def test_the_plan_stands_with_packs_masses_money_and_day(owner_client, planner):
    page = look(owner_client, ADDRESS)
    (table,) = [found for found in page.all("table") if "The cheapest plan" in found.text]
    row = " ".join(table.text.replace("\u00a0", " ").split())
    # By hand: two packs of 1 kg; 30.80 and 7.50 are 38.30.
    assert "Abacasheets, 1.00 kg packs Oastler Pulp Supply9 days 2 2.00 1.82" in row
    assert "30.80 7.50 38.30" in row
    assert row.endswith("Whole plan 2.00 1.82 30.80 7.50 38.30")


def test_what_the_rule_would_cost_stands_beside_the_plan(owner_client, planner):
    page = said(look(owner_client, ADDRESS))
    assert "would cost £43.30: £5.00 more." in page
    assert "Proven: no cheaper plan" in page


def test_a_plan_that_the_limit_stopped_says_how_far_it_may_be_and_when_it_was_found(
    owner_client, planner
):
    planner.answers = [reorder(order(), gap=LOOSE)]
    page = look(owner_client, ADDRESS)
    # By hand: 5 of 95 are 5.26 %, and it is never said to be nearer than it is.
    assert "At most 5.3 % above the cheapest possible." in said(page)
    assert f"Found on {worded(day(), day())}" in said(page)
    assert "Look longer" in said(page)


def test_a_proven_plan_offers_no_longer_look(owner_client, planner):
    assert "Look longer" not in said(look(owner_client, ADDRESS))


def test_freight_of_an_order_of_two_lines_is_added_up_once(owner_client, planner, offer):
    lines = line(offer=f"O-{offer.pk}"), line("Kozo", f"O-{offer.pk}")
    planner.answers = [reorder(order(*lines))]
    page = look(owner_client, ADDRESS)
    assert "Freight, sum and day stand on the first line" in said(page)
    foot = [cell.text for cell in page.all("td") if "tfoot" in cell.inside]
    assert foot[-4:-1] == ["61.60", "7.50", "69.10"]


# --- who sees what


@pytest.mark.parametrize("browser", ["hand_client", "viewer_client"])
def test_no_money_and_no_plan_for_who_may_not_see_it(request, browser, planner):
    page = look(request.getfixturevalue(browser), ADDRESS)
    words = said(page)
    assert "One fibre has to be ordered, by" in words
    assert "Abaca" in words
    assert "£" not in words
    assert "30.80" not in words
    assert "Mark as ordered" not in words
    assert "cheapest" not in words
    assert planner.asked == []


@pytest.mark.parametrize("route", ["reorder_order", "reorder_look"])
def test_an_address_that_takes_posts_leads_back_to_the_plan(owner_client, route):
    answer = owner_client.get(reverse(route))
    assert (answer.status_code, answer.url) == (302, ADDRESS)


@pytest.mark.parametrize("route", ["reorder_order", "reorder_look", "reorder_progress"])
def test_a_hand_cannot_buy_or_look_for_plans(hand_client, planner, route):
    method = hand_client.get if route == "reorder_progress" else hand_client.post
    assert method(reverse(route)).status_code == 403


# --- looking longer


def test_look_longer_begins_a_search_and_the_page_says_how_far_it_is(
    owner_client, planner, monkeypatch
):
    planner.answers = [reorder(order(), gap=LOOSE)]
    monkeypatch.setattr(reordering, "in_background", lambda work: None)
    look(owner_client, ADDRESS)
    answer = owner_client.post(reverse("reorder_look"), {"weeks": "13"}, follow=True)
    assert "Looking for a cheaper plan, 0 s of 30 so far." in answer.content.decode()
    row = StoredPlan.objects.get()
    row.progress = {"seconds": 2.4, "best": 3830, "bound": 3500.7}
    row.save()
    page = look(owner_client, ADDRESS)
    told = [one for one in page.all("p") if "hx-get" in one.attrs]
    assert len(told) == 1
    assert told[0].attrs["hx-trigger"] == "every 1s"
    assert "2 s of 30 so far. Best so far £38.30; none can be below £35.00." in said(page)
    assert "See how far it is" in said(page)
    assert "Look longer" not in said(page)
    again = owner_client.post(reverse("reorder_look"), {"weeks": "13"}, follow=True)
    assert "is being looked for already" in again.content.decode()


def test_the_panel_asks_until_the_search_is_over_and_then_has_the_page_read_again(
    owner_client, planner, monkeypatch
):
    planner.answers = [reorder(order(), gap=LOOSE)]
    works = []
    monkeypatch.setattr(reordering, "in_background", works.append)
    owner_client.post(reverse("reorder_look"), {"weeks": "13"})
    row = StoredPlan.objects.get()
    asked = {"key": row.key, "weeks": "13"}
    live = {"headers": {"hx-request": "true"}}
    first = owner_client.get(reverse("reorder_progress"), asked, **live)
    assert "Looking for a cheaper plan" in first.content.decode()
    assert f"key={row.key}" in first.content.decode()
    works[0]()
    last = owner_client.get(reverse("reorder_progress"), asked, **live)
    assert last["HX-Refresh"] == "true"


def test_without_script_progress_leads_to_the_page(owner_client):
    answer = owner_client.get(reverse("reorder_progress"), {"key": "x", "weeks": "8"})
    assert answer["Location"] == "/reorder/?weeks=8#plan"


# --- queries, and the frame


def many(planner, offer, count):
    flags = [
        flag(
            f"Fibre {number}",
            balances=(
                DayBalance(ahead(0), KG),
                *(DayBalance(ahead(n), 0, (Change(f"T-{n}", -KG),)) for n in range(1, count)),
            ),
        )
        for number in range(count)
    ]
    orders = [
        order(line(f"Fibre {number}", f"O-{offer.pk}"), source=f"Source {number}")
        for number in range(count)
    ]
    planner.answers = [reorder(*orders, flags=flags)]


@pytest.mark.parametrize("browser", ["owner_client", "viewer_client"])
def test_reorder_takes_the_same_queries_for_1_and_20_rows(request, browser, planner, offer):
    client = request.getfixturevalue(browser)
    sheet = make_sheet(make_furnish({offer.fibre: "1"}))
    make_lot(offer.fibre)
    make_commission(sheet)
    many(planner, offer, 1)
    few = queries(client, ADDRESS)
    for _ in range(19):
        make_lot(offer.fibre)
        make_commission(sheet)
    many(planner, offer, 20)
    assert queries(client, ADDRESS) == few


def test_the_room_is_reorder(owner_client, planner):
    page = look(owner_client, ADDRESS)
    (current,) = [link for link in page.all("a") if link.attrs.get("aria-current") == "page"]
    assert current.text == "Reorder"
    assert page.misnested == []
    assert len(page.ids()) == len(set(page.ids()))


def test_one_button_a_page_is_filled(owner_client, planner):
    planner.answers = [reorder(order(), order(source="Greyling Fibres"), gap=LOOSE)]
    page = look(owner_client, ADDRESS)
    filled = [
        one.text
        for one in page.all("button", class_="do")
        if "plain" not in one.attrs["class"].split()
    ]
    assert filled == ["Mark as ordered"]


# --- with the real arithmetic


@pytest.mark.parametrize("browser", ["owner_client", "hand_client"])
def test_worked_out_for_1_and_20_fibres_it_takes_the_same_queries(request, browser):
    def add():
        fibre = make_fibre(minimum_mg=KG)
        make_lot(fibre, as_is_mg=KG // 2)
        # Without freight or breaks the plan is proven at once, however slow the machine is.
        make_offer(fibre, make_source(lead_days=5), pack_mg=1)
        make_commission(make_sheet(make_furnish({fibre: "1"})))

    same_queries_for_1_and_20(request.getfixturevalue(browser), ADDRESS, add)


def test_every_role_reads_the_same_flags(owner_client, viewer_client, offer):
    make_commission(make_sheet(make_furnish({offer.fibre: "1"})), ref="T-1", good_quantity=100)
    for client in (owner_client, viewer_client):
        page = said(look(client, ADDRESS))
        assert "No plan without a purchase: T-1 lacks" in page
        assert "An order placed by" in page


def test_the_first_page_urges_what_mends_a_promise_before_what_keeps_a_minimum():
    low = flag("Linter", commissions=(), promised_mg=0, order_by=ahead(2))
    now = ahead(0)
    assert wording.urge([low, flag("Abaca")], now) == (
        f"Order Abaca by {worded(ahead(10), now)} and it comes in time."
    )
    # What a promise lacks is not mended by a fibre that is only low.
    assert wording.urge([low], now) == (
        f"Order Linter by {worded(ahead(2), now)} to keep its minimum."
    )


def test_fibre_that_is_left_where_promises_are_short_is_explained():
    left = flag(balances=(DayBalance(ahead(0), 2 * KG),))
    kept = "What is left of it is kept from them by their limits or by its dates."
    assert kept in wording.why(left, ahead(0), "metric")
    # Of what is used up nothing is left to explain.
    assert kept not in wording.why(flag(), ahead(0), "metric")
