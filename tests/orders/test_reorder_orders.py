"""An order of the plan is marked as placed on the Reorder page, and becomes a purchase."""

import uuid

import pytest
from django.urls import reverse

from fibres.models import Purchase
from studio.models import Entry
from tests.builders import day, make_commission, make_furnish, make_sheet
from tests.orders.looking import look, said
from tests.orders.reorders import ahead

pytestmark = pytest.mark.django_db

ADDRESS = "/reorder/"


def order_form(page, number=0):
    """Return what the form of an order would send."""
    forms = [form for form in page.all("form") if form.attrs.get("action") == "/reorder/order/"]
    start = page.elements.index(forms[number])
    fields = {}
    for element in page.elements[start + 1 :]:
        if element.tag == "form":
            break
        if element.tag == "input" and element.attrs.get("name"):
            fields[element.attrs["name"]] = element.attrs.get("value", "")
    return fields


def send(client, fields, **changes):
    return client.post(reverse("reorder_order"), {**fields, **changes})


def test_an_order_is_marked_as_ordered_today_and_expected_after_its_lead(owner_client, planner):
    fields = order_form(look(owner_client, ADDRESS))
    assert fields["ordered_on"] == day().isoformat()
    assert fields["expected_on"] == ahead(9).isoformat()
    answer = send(owner_client, fields)
    purchase = Purchase.objects.get()
    assert answer["Location"] == purchase.get_absolute_url()
    assert purchase.state == Purchase.State.ORDERED
    assert (purchase.ordered_on, purchase.expected_on) == (day(), ahead(9))
    assert purchase.freight_minor == 750
    bought = purchase.lines.get()
    assert (bought.packs, bought.fibre.name, bought.goods_minor) == (2, "Abaca", 3080)


def test_the_same_page_sent_twice_buys_once(owner_client, planner):
    fields = order_form(look(owner_client, ADDRESS))
    send(owner_client, fields)
    again = send(owner_client, fields)
    assert again["Location"] == Purchase.objects.get().get_absolute_url()
    assert Purchase.objects.count() == 1


def test_another_page_of_the_same_plan_does_not_buy_it_once_more(owner_client, planner):
    fields = order_form(look(owner_client, ADDRESS))
    send(owner_client, fields)
    again = send(owner_client, fields, request_key=str(uuid.uuid4()))
    assert again.status_code == 200
    assert "have changed since this plan" in again.content.decode()
    assert Purchase.objects.count() == 1


def test_days_that_cannot_be_are_told_beside_the_order_and_nothing_is_bought(
    owner_client, planner
):
    fields = order_form(look(owner_client, ADDRESS))
    answer = send(owner_client, fields, expected_on=day(3).isoformat())
    words = answer.content.decode()
    assert "It cannot be expected before it is ordered." in words
    assert "1 error: Reorder" in words
    assert f'value="{day(3).isoformat()}"' in words
    assert not Purchase.objects.exists()


def test_an_order_that_was_not_read_from_a_plan_is_refused(owner_client, planner):
    fields = order_form(look(owner_client, ADDRESS))
    answer = send(owner_client, fields, order=fields["order"][:-3] + "abc")
    assert "This order was not read from the plan." in answer.content.decode()
    assert not Entry.objects.filter(act__contains="purchase").exists()
    assert not Purchase.objects.exists()


def test_the_page_of_an_order_leads_back_to_the_plan(owner_client, planner):
    assert owner_client.get(reverse("reorder_order"))["Location"] == ADDRESS


def test_a_purchase_on_its_way_ends_the_need_for_it(owner_client, offer):
    make_commission(make_sheet(make_furnish({offer.fibre: "1"})), good_quantity=100)
    page = look(owner_client, ADDRESS)
    assert "One order" in said(page)
    send(owner_client, order_form(page))
    assert "Nothing has to be ordered" in said(look(owner_client, ADDRESS))
