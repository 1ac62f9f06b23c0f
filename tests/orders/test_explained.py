"""What pages of commissions, makings and parcels say of their figures, against sums by hand.

The sheet of the builders: A4, 120 g/m², 6 % moisture, so 0.210 × 0.297 × 120 × 0.94 = 7.035336 g
of fibre; 96 % stays on the mould, 8 % is broke and 4 % retree. Its fibre is at 8 % moisture, and
95 % of it is left after preparation.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from orders.makings import log
from studio.roles import HAND, VIEWER
from tests.builders import (
    KG,
    make_client,
    make_commission,
    make_delivery,
    make_dryer,
    make_fibre,
    make_finished,
    make_furnish,
    make_lot,
    make_making,
    make_quote,
    make_sheet,
    make_spoilt,
    make_studio,
    make_user,
    signed_in,
)
from tests.orders.learnings import make_done
from tests.orders.trails import donor, run
from tests.worked import Worked, section_of, worked

pytestmark = pytest.mark.django_db
PULLS, COVER = "Pulls", "Fibre needed, set aside and short"
NO_WORK = {
    "hourly_rate_minor": 0,
    "overhead_minor_per_hour": 0,
    "energy_minor_per_kwh": Decimal(0),
    "water_minor_per_m3": 0,
    "trial_pulls": 0,
}


def of(browser: Client, route: str, *args: object) -> dict[str, Worked]:
    return worked(browser, reverse(route, args=args))


@pytest.fixture
def fibre():
    return make_fibre(name="Abaca")


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}))


@pytest.fixture
def short(fibre, sheet):
    """A commission for 100 sheets with 500 g of fibre as it is: 460 g oven-dry."""
    make_lot(fibre, as_is_mg=KG // 2, paid_minor=0)
    return make_commission(sheet)


# --- by hand ------------------------------------------------------------------------------------


def test_a_sheet(owner_client, sheet):
    told = of(owner_client, "sheet", sheet.pk)
    assert told["Fibre in one finished sheet"].lines == {"Fibre in one finished sheet": "7.04 g"}
    # 100 / 0.88 = 113.6, rounded up.
    assert told[PULLS].lines["Pulls on average"] == "114"
    # 114 × 7.035336 / 0.96 = 835.4 g.
    assert told["Into the vat"].lines == {"Into the vat": "0.835 kg"}


def test_the_first_sheet_of_the_list(owner_client, sheet):
    make_commission(sheet)
    told = of(owner_client, "sheets")
    assert told["Fibre in one finished sheet"].lines["Fibre in one"] == "7.04 g"
    assert told["Open commissions"].lines == {f"{sheet.name}, open": "1"}


def test_a_commission(owner_client, short):
    told = of(owner_client, "commission", short.ref)
    # 835.446 / 0.95 = 879.417 g; 879.417 − 460 = 419.417 g.
    assert told[COVER].lines == {"Needs": "0.879 kg", "Set aside": "0.460 kg", "Short": "0.419 kg"}
    assert told[COVER].source.startswith("ISO 287")


def test_what_is_short_and_has_to_be_ordered_on_the_first_page(owner_client, short):
    told = of(owner_client, "today")
    assert told["Covered, just covered or short"].lines == {f"{short.ref}, Abaca": "0.419 kg"}
    ahead = of(owner_client, "reorder")["Order by"]
    assert ahead.lines == {"Abaca, missing": "0.419 kg"}


@pytest.mark.parametrize(
    ("by", "price", "formula"),
    [("margin", "£1.00", "÷ (1 − margin)"), ("markup", "£0.91", "× (1 + markup)")],
)
def test_cost_and_price(owner_client, short, by, price, formula):
    # Nothing but packing costs anything: 70p; 0.70 / 0.7 = 1.00, and 0.70 × 1.3 = 0.91.
    make_studio(**NO_WORK, packing_minor_per_sheet=70, price_by=by, price_rate=Decimal("0.3"))
    told = of(owner_client, "commission", short.ref)["Cost and price of a good sheet"]
    assert told.lines == {"Cost of a good sheet": "£0.70", "Price of a good sheet": price}
    assert formula in told.formula


def test_what_was_sent_of_a_commission(owner_client, fibre, sheet):
    commission = make_commission(sheet, good_quantity=110)
    make_delivery(commission)
    told = of(owner_client, "commission", commission.ref)["Sheets sent, in hand and to make"]
    # 40 of 100 made were sent, and 110 − 40 − 60 are left to make.
    assert list(told.lines.values()) == ["110", "40", "60", "10"]


def test_a_making(owner_client, fibre, sheet):
    make_studio(trial_pulls=0, heel_mg=0)
    make_lot(fibre)
    making = make_making(sheet, pulls=120)
    told = of(owner_client, "making", making.ref)
    # 120 × 7.035336 / 0.96 = 879.4 g.
    assert told["Fibre to prepare"].lines["Fibre to prepare"] == "0.879 kg"
    # 879.417 / 0.95 = 925.7 g oven-dry, / 0.92 = 1006.2 g as it is.
    assert list(told["What to weigh out"].lines.values()) == ["0.926 kg", "8 %", "1.01 kg"]
    # 120 g/m² × 0.06237 m² = 7.48 g; 7.035336 / 0.175 = 40.20 g.
    assert told["What a sheet weighs"].lines == {
        "A dry sheet": "7.48 g",
        "Couched, about": "40.20 g",
    }


def test_where_the_fibre_of_a_making_went(owner_client, fibre, sheet):
    making = run([(make_lot(fibre), KG)], making=make_making(sheet), good=100, retree=0)
    told = of(owner_client, "making_log", making.ref)["Where the fibre went"]
    # 0.92 kg issued; 100 sheets hold 703.5 g, so 216.5 g is lost.
    assert told.lines["Issued from lots"] == "0.920 kg"
    assert told.lines["Lost in preparation and forming"] == "0.216 kg"


def test_an_open_log_names_nothing_that_a_tap_changes(owner_client, fibre, sheet):
    making = make_making(sheet)
    log.start(making, by=None)
    log.issue(making, make_lot(fibre), as_is_mg=KG, by=None)
    log.tap(making, "good", post=1, change=50, by=None)
    told = of(owner_client, "making_log", making.ref)
    assert told["Counts of the vat"].lines == told["Minutes"].lines == {}
    assert told["Where the fibre went"].lines == {"Issued from lots": "0.920 kg"}


def test_sheets_in_hand(owner_client):
    making = make_finished(retree=2)
    make_spoilt(making)
    told = of(owner_client, "sheets_in_hand")["Sheets in hand"]
    assert told.lines == {"Good": "97", "Retree": "2"}
    assert of(owner_client, "sheets_spoil", making.ref)["Sheets in hand"].lines == told.lines
    count = of(owner_client, "sheets_count", making.ref)["What a count changes"]
    assert list(count.lines.values()) == ["97", "2"]


def test_a_parcel(owner_client):
    delivery = make_delivery()
    told = of(owner_client, "delivery", delivery.ref)
    # A sheet weighs 7.4 g: 7.4 / 0.06237 = 118.6 g/m²; 42 of them weigh 310.8 g.
    assert told["Grammage measured"].lines["Grammage measured"] == "118.6 g/m²"
    assert told["What the parcel weighs"].lines == {"Sheets weigh": "0.311 kg"}
    assert list(told["Sheets in a parcel"].lines.values()) == ["40", "2"]


def test_a_quote(owner_client):
    make_studio(**NO_WORK, packing_minor_per_sheet=70, tax_rate=Decimal("0.2"))
    quote = make_quote(is_issued=True)
    told = of(owner_client, "quote", quote.ref)["What the quote comes to"]
    # 100 at £1.00 and 20 % tax.
    assert list(told.lines.values()) == ["100", "£1.00", "£100.00", "£20.00", "£120.00"]


def test_the_bench(owner_client):
    told = of(owner_client, "bench")
    # 10 kg × 0.92 × 0.95 × 0.96 / 7.035336 g = 1192 pulls; × 0.88 = 1048 good ones.
    assert told["Sheets from fibre"].lines["Good sheets on average"] == "1048"
    # 100 g wet and 21.5 g dry; 6.8 kg × 0.215 = 1.46 kg.
    assert list(told["Dry mass"].lines.values()) == ["78.5 %", "1.46 kg"]


def test_a_learned_figure(owner_client, sheet):
    # 8 broke of 100, then 12 of 100.
    first = make_done(sheet)
    make_done(sheet, counts=(100, 84, 4, 12))
    told = of(owner_client, "learned_figure", "broke", f"sheet-{sheet.pk}")
    assert told["What one making shows"].lines == {f"Shown by {first.ref}": "8 %"}
    # Two makings at 10 % on average, and three that came out as set, at 8 %: 8.8 %.
    assert told["Broke and retree"].lines == {"Mean of 2 makings": "8.8 %"}


def test_who_waits_for_thanks(owner_client):
    make_lot(source=donor("Nettlebank School"))
    told = of(owner_client, "thanks")
    assert told["Who waits"].lines == {"Days": "14", "Donors who wait": "1"}
    # 10 kg at 8 %.
    given = told["What was given"].lines
    assert given == {"Given by Nettlebank School": "9.20 kg oven-dry in 1 lot"}


def test_a_list_names_its_first_row(owner_client):
    client = make_client(name="Aldwick Press")
    make_commission(client=client)
    make_commission(client=client, state="closed")
    make_dryer(name="Loft", pulls_per_load=60, days_per_load=Decimal("1.5"))
    told = of(owner_client, "clients")["Open commissions"]
    assert told.lines == {"Aldwick Press, open": "1", "Aldwick Press, in all": "2"}
    dryers = of(owner_client, "dryers")["Days in the dryer"]
    assert list(dryers.lines.values()) == ["60", "1.5"]


@pytest.mark.parametrize("route", ["commissions", "makings", "quotes", "deliveries", "dryers"])
def test_an_empty_list_says_its_formula_alone(owner_client, route):
    told = of(owner_client, route)
    assert told
    assert all(one.formula and one.source and not one.lines for one in told.values())


# --- what the reader may see, and in which units ------------------------------------------------


@pytest.mark.parametrize("role", [HAND, VIEWER])
def test_who_sees_no_money_reads_none_of_it(short, role):
    browser = signed_in(make_user(role))
    delivery, making = make_delivery(), make_finished(short)
    for address in (
        reverse("commission", args=[short.ref]),
        reverse("delivery", args=[delivery.ref]),
        reverse("making", args=[making.ref]),
        reverse("reorder"),
        reverse("bench"),
        reverse("today"),
    ):
        section = section_of(browser.get(address).content.decode())
        assert section
        assert not [word for word in ("£", "Price", "Cost", "plan costs") if word in section], (
            address
        )


def test_the_owner_reads_money_where_it_stands(owner_client, short):
    told = of(owner_client, "reorder")
    assert "What the plan costs" in told
    assert "Cost and price of a good sheet" in of(owner_client, "bench")
    assert "Price of the sheets" in of(owner_client, "delivery", make_delivery().ref)


def test_masses_are_in_pounds_where_they_are_read_in_pounds(owner_client, fibre, short):
    make_studio(units="US", trial_pulls=0, heel_mg=0)
    # 0.460 kg is 16.226 oz, 1 lb and 0.2 oz.
    assert of(owner_client, "commission", short.ref)[COVER].lines["Set aside"] == "1 lb 0.2 oz"
    make_lot(fibre)
    making = make_making(short.sheet, pulls=120)
    told = of(owner_client, "making", making.ref)
    # 879.417 g is 31.02 oz.
    assert told["Fibre to prepare"].lines["Fibre to prepare"] == "1 lb 15.0 oz"
    assert told["Consistency of the vat"].lines["Draw"].endswith(" in")
    for address in (short.get_absolute_url(), making.get_absolute_url()):
        section = section_of(owner_client.get(address).content.decode())
        assert not [unit for unit in ("\u00a0kg", "\u00a0mm") if unit in section], address


# --- a form whose panel moves on ----------------------------------------------------------------


def test_a_form_says_that_its_figures_are_those_it_was_opened_with(owner_client, short):
    page = owner_client.get(reverse("commission_edit", args=[short.ref])).content.decode()
    assert "as the page was opened" in section_of(page)
    told = of(owner_client, "commission_edit", short.ref)
    assert told["Covered, just covered or short"].lines["Good sheets asked for"] == "100"
    empty = of(owner_client, "commission_new")
    assert not any(one.lines for one in empty.values())
