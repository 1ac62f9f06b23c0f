"""Pages of finished sheets: the list, the parcel and its packing list, spoilt and counted."""

from decimal import Decimal

import pytest
from django.urls import reverse

from orders import sheetsinhand
from orders.models import Commission, Delivery, Making, SheetMovement
from studio.models import Entry
from tests.builders import (
    day,
    make_commission,
    make_delivery,
    make_finished,
    make_lot,
    make_making,
    make_studio,
)
from tests.orders.looking import form_data, look, said, same_queries_for_1_and_20
from tests.studio.pages import uncoded

pytestmark = pytest.mark.django_db
State = Commission.State
IN_HAND = "/sheets/in-hand/"


@pytest.fixture
def asked(sheet):
    return make_commission(
        sheet, ref="C-101", title="Song sheets", good_quantity=60, state=State.MAKING
    )


@pytest.fixture
def making(asked):
    return make_finished(asked, ref="R-207", good=60, retree=3)


def sends(client, making, /, **typed):
    """Send the form of C-101 as it is shown, with changes."""
    page = look(client, "/commissions/C-101/send/")
    return client.post("/commissions/C-101/send/", form_data(page, **typed), follow=True)


# --- the list


def test_the_list_names_sheets_by_making_and_quality(viewer_client, making):
    text = said(look(viewer_client, IN_HAND))
    assert "60 good sheets and 3 retree are in hand. C-101 is all made and waits to be sent." in (
        text
    )
    assert "R-207" in text


def test_the_list_leads_a_hand_to_sending_counting_and_what_is_spoilt(hand_client, making):
    page = look(hand_client, IN_HAND)
    assert page.one("a", href="/commissions/C-101/send/").text == "Send C-101"
    assert page.one("a", href="/sheets/in-hand/R-207/count/")
    assert page.one("a", href="/sheets/in-hand/R-207/spoilt/")


def test_a_viewer_only_reads_the_list(viewer_client, making):
    assert not [a for a in look(viewer_client, IN_HAND).all("a") if "R-207/" in a.attrs["href"]
                and "in-hand" in a.attrs["href"]]  # fmt: skip


def test_an_empty_list_says_where_sheets_come_from(hand_client, sheet):
    assert "They come in when a making is finished." in said(look(hand_client, IN_HAND))


def test_the_list_asks_the_database_as_often_for_20_makings_as_for_1(owner_client, asked):
    same_queries_for_1_and_20(owner_client, IN_HAND, lambda: make_finished(asked, good=5))


def test_parcels_are_listed_with_their_counts(viewer_client, asked):
    delivery = make_delivery(asked)
    text = said(look(viewer_client, "/deliveries/"))
    assert delivery.ref in text
    assert "40" in text


# --- sending


def test_the_form_suggests_what_the_client_waits_for(hand_client, making):
    page = look(hand_client, "/commissions/C-101/send/")
    assert page.one("input", name=f"good_{making.pk}").attrs["value"] == "60"
    assert "60 good sheets were asked for; 60 are still to go." in said(page)


def test_sending_leads_to_the_packing_list(hand_client, making):
    answer = sends(hand_client, making, sheet_mg="7.4", parcel_mg="0.65", sent_to="Mill Lane 4")
    delivery = Delivery.objects.get()
    assert answer.redirect_chain[-1][0] == f"/deliveries/{delivery.ref}/"
    text = said(look(hand_client, f"/deliveries/{delivery.ref}/"))
    assert "With this parcel all 60 good sheets are sent." in text
    # 7.4 g on 0.06237 m² are 118.6 g/m², 1.1 % below 120; 60 of them weigh 444 g, 206 g are left.
    for figure in ("118.6 g/m²", "1.1 % below", "0.444 kg", "0.206 kg", "Mill Lane 4"):
        assert figure in text
    assert Commission.objects.get().state == State.SENT


def test_a_part_delivery_is_said_to_be_one(hand_client, making):
    answer = sends(hand_client, making, **{f"good_{making.pk}": 45})
    delivery = Delivery.objects.get()
    assert "a part delivery: 45 of 60 good sheets of C-101 have gone, 15 follow." in (
        uncoded(answer.content.decode())
    )
    text = said(look(hand_client, f"/deliveries/{delivery.ref}/"))
    assert "Part delivery: with this parcel 45 of 60 good sheets are sent, 15 follow." in text


def test_an_earlier_packing_list_keeps_what_it_said(hand_client, making):
    sends(hand_client, making, **{f"good_{making.pk}": 45})
    sends(hand_client, making)
    first = Delivery.objects.order_by("pk").first()
    assert "with this parcel 45 of 60" in said(look(hand_client, f"/deliveries/{first.ref}/"))


def test_more_than_lies_there_comes_back_beside_its_field(hand_client, making):
    answer = sends(hand_client, making, **{f"retree_{making.pk}": 4})
    assert "Of R-207 3 retree sheets are in hand and 4 are asked for." in uncoded(
        answer.content.decode()
    )
    assert f'id="id_retree_{making.pk}_error"' in answer.content.decode()
    assert not Delivery.objects.exists()


def test_over_delivery_comes_back_with_what_may_go(hand_client, asked):
    extra = make_finished(asked, good=70)
    answer = sends(hand_client, extra, **{f"good_{extra.pk}": 61})
    assert "takes no more; 0 are sent. Send 60 or fewer, got 61." in answer.content.decode()


def test_the_panel_works_it_out_and_sends_nothing(hand_client, making):
    page = look(hand_client, "/commissions/C-101/send/")
    typed = form_data(page, sheet_mg="6.6", parcel_mg="0.3", work_out="1")
    text = hand_client.post("/commissions/C-101/send/", typed).content.decode()
    # 60 × 6.6 = 396 g; 96 g are missing, which is 14.5 sheets. 6.6 g are 11.8 % too light.
    assert (
        "The parcel is 96.00\u00a0g lighter than its sheets: it weighs 0.300\u00a0kg, and they "
        "0.396\u00a0kg. At least 15 sheets less would weigh that." in text
    )
    assert "11.8\u00a0% below the grammage ordered" in text
    assert not Delivery.objects.exists()


def test_a_page_sent_twice_leads_to_the_first_parcel(hand_client, making):
    typed = form_data(look(hand_client, "/commissions/C-101/send/"), **{f"good_{making.pk}": 9})
    hand_client.post("/commissions/C-101/send/", typed)
    again = hand_client.post("/commissions/C-101/send/", typed, follow=True)
    assert "Nothing was written twice." in again.content.decode()
    assert Delivery.objects.count() == 1


def test_where_nothing_lies_there_the_form_leads_back(hand_client, asked):
    answer = hand_client.get("/commissions/C-101/send/", follow=True)
    assert "No finished sheet for C-101 is in hand yet." in uncoded(answer.content.decode())


def test_a_commission_that_is_sent_has_no_form(hand_client, making):
    sends(hand_client, making)
    answer = hand_client.get("/commissions/C-101/send/", follow=True)
    assert "C-101 is sent; no sheets are sent for it." in uncoded(answer.content.decode())


def test_stock_goes_without_a_commission(hand_client, sheet):
    stock = make_finished(sheet=sheet, good=12)
    page = look(hand_client, "/sheets/in-hand/send/")
    typed = form_data(page, **{f"good_{stock.pk}": 12}, sent_to="Spring fair")
    answer = hand_client.post("/sheets/in-hand/send/", typed, follow=True)
    assert answer.status_code == 200
    assert Delivery.objects.get().commission is None
    assert "12 good sheets were sent." in said(
        look(hand_client, f"/deliveries/{Delivery.objects.get().ref}/")
    )


def test_good_sheets_that_are_waited_for_are_not_offered_as_stock(hand_client, making):
    page = look(hand_client, "/sheets/in-hand/send/")
    names = [field.attrs.get("name") for field in page.all("input")]
    assert f"retree_{making.pk}" in names
    assert f"good_{making.pk}" not in names


# --- money, and who a client is


def test_the_owner_reads_what_a_parcel_comes_to(owner_client, fibre, asked):
    make_studio(price_by="margin", price_rate=Decimal("0.3"), retree_price_share=Decimal("0.9"))
    make_lot(fibre, paid_minor=10_000)
    delivery = make_delivery(asked, good=40, retree=2)
    text = said(look(owner_client, f"/deliveries/{delivery.ref}/"))
    from orders import services
    from orders.calc.costing import price_from_cost

    _, answer = services.cover_of(asked, day())
    cost = services.cost_of(asked, picks=answer.picks if answer else ())
    price = price_from_cost(cost.total_minor_per_sheet, by="margin", rate=Decimal("0.3"))
    retree = round(price * Decimal("0.9"))
    total = 40 * cost.price_minor_per_sheet + 2 * retree
    assert f"Good, 40 at £{cost.price_minor_per_sheet / 100:.2f}" in text
    assert f"Retree, 2 at £{retree / 100:.2f}" in text
    assert "90 % of the price of good" in text
    assert f"£{total / 100:,.2f}" in text


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_reads_no_price_on_a_parcel(request, who, asked):
    delivery = make_delivery(asked)
    page = look(request.getfixturevalue(who), f"/deliveries/{delivery.ref}/")
    assert "£" not in page.one("html").text
    assert "Price" not in said(page)


def test_a_viewer_does_not_read_where_a_parcel_went(viewer_client, hand_client, asked):
    delivery = make_delivery(asked)
    assert "Bramble House" in said(look(hand_client, f"/deliveries/{delivery.ref}/"))
    page = look(viewer_client, f"/deliveries/{delivery.ref}/")
    assert "Bramble" not in page.one("html").text


# --- taking back, spoilt, counted


def test_the_owner_takes_a_parcel_back(owner_client, asked):
    delivery = make_delivery(asked)
    address = f"/deliveries/{delivery.ref}/take-back/"
    typed = form_data(look(owner_client, address), why="Came back wet")
    text = uncoded(owner_client.post(address, typed, follow=True).content.decode())
    assert "Its sheets are in hand again." in text
    assert "This parcel was taken back" in text
    assert sheetsinhand.kept(asked).sent == 0


def test_a_hand_spoils_sheets_with_a_reason(hand_client, making):
    address = "/sheets/in-hand/R-207/spoilt/"
    typed = form_data(look(hand_client, address), quality="good", sheets=2, why="Damp")
    assert hand_client.post(address, typed).headers["Location"] == IN_HAND
    assert sheetsinhand.balances([making.pk])[making.pk, "good"] == 58


def test_a_count_shows_the_book_and_sets_it_right(hand_client, making):
    address = "/sheets/in-hand/R-207/count/"
    page = look(hand_client, address)
    assert "The book says 60." in said(page)
    typed = form_data(page, good=59, retree=4, why="One has a speck")
    text = uncoded(hand_client.post(address, typed, follow=True).content.decode())
    assert "R-207: −1 good and +1 retree against the book." in text


def test_a_count_of_sheets_that_moved_is_shown_again_with_what_is_there(hand_client, making):
    address = "/sheets/in-hand/R-207/count/"
    typed = form_data(look(hand_client, address), good=60, retree=3)
    sends(hand_client, making, **{f"good_{making.pk}": 10})
    text = uncoded(hand_client.post(address, typed).content.decode())
    assert "have moved since this page was opened" in text
    assert 'name="seen_good" value="50"' in text
    assert not SheetMovement.objects.filter(kind="counted").exists()


@pytest.mark.parametrize("act", ["count", "spoilt"])
def test_a_making_at_the_vat_has_no_sheets_to_count_or_spoil(hand_client, asked, act):
    making = make_making(commission=asked, ref="R-300", state="at the vat")
    address = f"/sheets/in-hand/{making.ref}/{act}/"
    answer = hand_client.get(address, follow=True)
    assert answer.redirect_chain == [(IN_HAND, 302)]
    assert "R-300 is at the vat. Only a finished making has sheets in hand." in (
        uncoded(answer.content.decode())
    )


def test_a_count_posted_to_a_making_at_the_vat_is_refused(hand_client, making):
    address = "/sheets/in-hand/R-207/count/"
    typed = form_data(look(hand_client, address), good=60, retree=3)
    Making.objects.update(state=Making.State.AT_THE_VAT)
    text = uncoded(hand_client.post(address, typed).content.decode())
    assert "R-207 is at the vat. Only a finished making has sheets in hand." in text
    assert not Entry.objects.filter(act="count sheets").exists()


def test_a_count_of_more_than_was_formed_comes_back_with_the_figures(hand_client, making):
    address = "/sheets/in-hand/R-207/count/"
    typed = form_data(look(hand_client, address), good=70, retree=3, why="Found more")
    text = uncoded(hand_client.post(address, typed).content.decode())
    assert "63 sheets of R-207 were formed, broke among them; 73 in hand" in text
    assert 'id="id_good_error"' in text


# --- the page of the commission


def test_the_commission_says_how_far_it_is_made_and_what_is_held(viewer_client, fibre, asked):
    make_lot(fibre)
    make_finished(asked, good=45)
    text = said(look(viewer_client, "/commissions/C-101/"))
    assert "45 of its 60 good sheets are made; fibre is held for the 15 still to make." in text
    assert "The store covers all 15, also at the safe count." in text


def test_a_commission_that_is_all_made_holds_no_fibre(hand_client, making):
    page = look(hand_client, "/commissions/C-101/")
    text = said(page)
    assert "All its sheets are made: 60 in hand. It holds no fibre any more." in text
    assert page.one("a", href=reverse("delivery_new", args=["C-101"])).attrs["class"] == "do"


def test_the_step_to_sent_is_sending_its_sheets(owner_client, making):
    page = look(owner_client, "/commissions/C-101/")
    assert "It is sent" not in [button.text for button in page.all("button")]
    filled = [one for one in page.elements if one.attrs.get("class") == "do"]
    assert [one.text for one in filled] == ["Send sheets"]


def test_the_commission_lists_its_parcels(viewer_client, asked):
    delivery = make_delivery(asked)
    page = look(viewer_client, "/commissions/C-101/")
    assert page.one("a", href=f"/deliveries/{delivery.ref}/")


def test_the_commission_asks_as_often_for_20_parcels_as_for_1(owner_client, asked):
    Commission.objects.filter(pk=asked.pk).update(good_quantity=5000)
    asked.refresh_from_db()
    same_queries_for_1_and_20(
        owner_client, "/commissions/C-101/", lambda: make_delivery(asked, good=2)
    )
