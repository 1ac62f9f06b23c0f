"""The scales against the sheets: asked before a parcel goes, kept from the client's list."""

from decimal import Decimal

import pytest

from orders import sheetsinhand
from orders.calc.packing import Parcel
from orders.models import Commission, Delivery
from orders.sheetsinhand import ParcelNote, Sending
from studio.errors import RangeError
from studio.models import Entry
from studio.sizes import Size
from tests.builders import day, make_commission, make_finished
from tests.orders.looking import form_data, look, said
from tests.studio.pages import Page, words

pytestmark = pytest.mark.django_db
SEND = "/commissions/C-101/send/"
# 60 sheets of 6.6 g are 396 g, 96 g more than 300 g: 14.5 sheets, so at least 15.
LIGHT = {"sheet_mg": "6.6", "parcel_mg": "0.3"}
ASKED = "The parcel is 96.00 g lighter than its sheets: it weighs 0.300 kg, and they 0.396 kg."


@pytest.fixture
def making(sheet):
    state = Commission.State.MAKING
    asked = make_commission(sheet, ref="C-101", good_quantity=60, state=state)
    return make_finished(asked, ref="R-207", good=60, retree=3)


def plain(answer):
    return words(answer.content.decode().replace("\u00a0", " "))


def asked_back(client, **typed):
    """Send the form; return the answer, and the page that comes back."""
    answer = client.post(SEND, form_data(look(client, SEND), **typed))
    return answer, Page(answer.content.decode())


def test_a_parcel_lighter_than_its_sheets_is_asked_about_before_it_goes(hand_client, making):
    answer, page = asked_back(hand_client, **LIGHT)
    assert answer.status_code == 200
    assert ASKED in plain(answer)
    assert "At least 15 sheets less would weigh that." in plain(answer)
    assert not Delivery.objects.exists()
    tick = page.one("input", name="is_right")
    assert "checked" not in tick.attrs
    assert 'id="id_is_right_error"' in answer.content.decode()
    # The sum stands beside the question.
    assert "Lighter than its sheets by" in plain(answer)


def test_the_question_stands_only_where_it_is_put(hand_client, making):
    assert not look(hand_client, SEND).all("input", name="is_right")
    _, page = asked_back(hand_client, sheet_mg="7.4", sent_on="soon")
    assert not page.all("input", name="is_right")


def test_what_is_right_all_the_same_is_sent_once_that_is_said(hand_client, making):
    _, page = asked_back(hand_client, **LIGHT)
    hand_client.post(SEND, form_data(page, is_right="on"))
    assert Delivery.objects.get().parcel_mg == 300_000
    assert Entry.objects.get(act="send sheets").said.endswith("the scales were looked at again")


def test_a_tick_speaks_only_for_the_figures_that_were_asked_about(hand_client, making):
    _, page = asked_back(hand_client, **LIGHT)
    answer = hand_client.post(SEND, form_data(page, is_right="on", parcel_mg="0.03"))
    assert "it weighs 30.00 g, and they 0.396 kg" in plain(answer)
    assert not Delivery.objects.exists()
    assert "checked" not in Page(answer.content.decode()).one("input", name="is_right").attrs


def test_a_tick_that_came_without_the_question_answers_nothing(hand_client, making):
    typed = form_data(look(hand_client, SEND), **LIGHT, is_right="on")
    assert ASKED in plain(hand_client.post(SEND, typed))
    assert not Delivery.objects.exists()


def test_a_sheet_below_what_the_studio_sends_is_asked_about_too(hand_client, making):
    # 6.6 g on 0.06237 m² are 105.8 g/m², 11.8 % below 120.
    answer, _ = asked_back(hand_client, sheet_mg="6.6")
    assert "The sheet is 11.8 % below the grammage ordered" in plain(answer)
    assert not Delivery.objects.exists()


def test_the_service_asks_as_well(making):
    note = ParcelNote(sent_on=day(), parcel_mg=1_000)
    with pytest.raises(RangeError, match="lighter than its sheets") as no:
        sheetsinhand.send(making.commission, [Sending(making, "good", 60)], note, by=None)
    assert no.value.field == "is_right"
    assert sheetsinhand.balances([making.pk])[making.pk, "good"] == 60


def sent_light(making, **note):
    note = ParcelNote(sent_on=day(), sheet_mg=6_600, parcel_mg=300_000, is_right=True, **note)
    return sheetsinhand.send(making.commission, [Sending(making, "good", 60)], note, by=None)


@pytest.mark.parametrize("who", ["owner_client", "hand_client", "viewer_client"])
def test_the_studio_reads_it_on_the_page_and_the_client_not_on_the_list(request, who, making):
    delivery = sent_light(making)
    page = look(request.getfixturevalue(who), f"/deliveries/{delivery.ref}/")
    assert ASKED in said(page)
    assert "Lighter than its sheets by" in said(page)
    paper = words(page.one("article", class_="paper").text)
    assert "ighter" not in paper
    assert "Parcel weighs" not in paper
    assert "Sheets weigh" in paper
    told = page.elements[page.elements.index(page.one("article", class_="paper")) - 1 :]
    doubted = next(one for one in page.all("section") if "Lighter than" in one.text)
    assert "screen" in doubted.attrs["class"].split()
    assert doubted not in told


def test_a_parcel_that_is_heavy_enough_tells_the_client_what_it_weighs():
    # 40 sheets of 7.4 g are 296 g; 104 g of a parcel of 400 g are wrapping.
    fine = Parcel(40, Size(210_000, 297_000), Decimal(120), 7_400, 400_000)
    assert fine.told_lines() == fine.lines()
    assert fine.told_lines()[-1].label == "Boards and wrapping"
    light = Parcel(40, Size(210_000, 297_000), Decimal(120), 7_400, 295_000)
    assert [line.label for line in light.told_lines()] == [
        line.label for line in light.lines()[:-2]
    ]


# --- the address, line by line


def test_an_address_is_kept_and_printed_line_by_line(hand_client, making):
    typed = "Ockle Press\r\n  4 Mill   Lane\r\n\r\nOverbridge <b>"
    page = look(hand_client, SEND)
    assert page.one("textarea", name="sent_to")
    hand_client.post(SEND, {**form_data(page), "sent_to": typed})
    delivery = Delivery.objects.get()
    assert delivery.sent_to == "Ockle Press\n4 Mill Lane\nOverbridge <b>"
    html = hand_client.get(delivery.get_absolute_url()).content.decode()
    assert "Ockle Press<br>4 Mill Lane<br>Overbridge &lt;b&gt;" in html


def test_an_address_keeps_its_lines_in_a_form_that_comes_back(hand_client, making):
    page = look(hand_client, SEND)
    typed = {**form_data(page, **LIGHT), "sent_to": "Ockle Press\r\n4 Mill Lane"}
    back = Page(hand_client.post(SEND, typed).content.decode())
    typed_before = back.one("textarea", name="sent_to").text.replace("\r", "")
    assert typed_before.strip("\n") == "Ockle Press\n4 Mill Lane"
