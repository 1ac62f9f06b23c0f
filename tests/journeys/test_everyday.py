"""The three everyday questions, each asked on the page and by the command: one answer."""

import json
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from fibres.models import Fibre, Lot
from orders.models import Commission
from tests.builders import day, make_fibre, make_furnish, make_lot, make_sheet, make_studio
from tests.orders.looking import form_data, look, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def abaca() -> Fibre:
    return make_fibre(name="Abaca sheet pulp", sorting_minutes_per_kg=Decimal(2))


@pytest.fixture
def linter() -> Fibre:
    return make_fibre(name="Linter", preparation_yield=Decimal("0.98"))


@pytest.fixture
def ordered(owner_client, abaca, linter) -> Commission:
    """A commission entered on its form, short of abaca and covered in linter."""
    make_studio(
        currency="GBP", price_by="margin", price_rate=Decimal("0.3"), hourly_rate_minor=2200,
        minutes_per_pull=Decimal(6), setup_minutes=60,
    )  # fmt: skip
    make_lot(abaca, as_is_mg=500_000, paid_minor=900)
    make_lot(linter, paid_minor=9200)
    sheet = make_sheet(make_furnish({abaca: "0.6", linter: "0.4"}))
    page = look(owner_client, reverse("commission_new"))
    typed = form_data(
        page,
        new_client="Harbour Songbook",
        title="Song sheets",
        sheet=sheet.pk,
        good_quantity=120,
        due=day(-20).isoformat(),
        state="agreed",
    )
    answer = owner_client.post(reverse("commission_new"), typed)
    (entered,) = Commission.objects.all()
    assert answer.headers["Location"] == entered.get_absolute_url()
    return entered


def asked(command: str, *arguments: str, **options: object) -> dict:
    out = StringIO()
    call_command(command, *arguments, json=True, stdout=out, **options)
    return json.loads(out.getvalue())


def cells(page, label: str) -> list[str]:
    return [cell.text.strip() for cell in page.all("td") if cell.attrs.get("data-label") == label]


def kilograms(grams: float) -> str:
    return f"{grams / 1000:.3f}"


def test_does_stock_cover_it(owner_client, ordered):
    (row,) = asked("cover", ordered.ref)["commissions"]
    page = look(owner_client, ordered.get_absolute_url())
    (lack,) = row["short"]
    assert row["state"] == "short"
    assert f"{row['covered_sheets']} of {row['wanted']} good sheets can be made" in said(page)
    assert f"{kilograms(lack['oven_dry_g'])} kg oven-dry of {lack['fibres'][0]}" in said(page)
    picked = {pick["fibre"]: kilograms(pick["oven_dry_g"]) for pick in row["picks"]}
    aside = cells(page, "Set aside")
    assert aside[:2] == [picked["Abaca sheet pulp"], picked["Linter"]]
    links = {link.text: link for link in page.all("a", class_="code")}
    assert {pick["lot"] for pick in row["picks"]} <= set(links)


def test_what_does_it_cost(owner_client, ordered):
    found = asked("cost", ordered.ref)
    page = look(owner_client, ordered.get_absolute_url())
    each, price = found["per_sheet"]["total"], found["price_per_sheet"]
    assert each > 0
    assert f"It costs £{each:.2f} a good sheet; the price comes to £{price:.2f}." in said(page)
    parts = [value for name, value in found["per_sheet"].items() if name != "total"]
    assert sum(parts) == pytest.approx(each)
    # Half of the fibre is short: both say what the rest is priced by.
    out = StringIO()
    call_command("cost", ordered.ref, stdout=out)
    (note,) = [line for line in out.getvalue().splitlines() if "the rest at the newest" in line]
    assert note.strip().rstrip(".").replace("\u00a0", " ") in said(page)


@pytest.mark.parametrize(
    ("on_the_page", "in_the_terminal"),
    [
        ({"measured": "weighed", "mass": "8"}, {"mass": "8 kg"}),
        (
            {"measured": "reams", "number": "3", "size": "A4", "grammage": "80"},
            {"reams": "3", "size": "A4", "grammage": "80 g/m2"},
        ),
    ],
    ids=["weighed", "reams"],
)
def test_log_scrap(hand_client, on_the_page, in_the_terminal):
    white = make_fibre(
        name="White office",
        is_scrap=True,
        usual_moisture=Decimal("0.06"),
        preparation_yield=Decimal("0.85"),
    )
    page = look(hand_client, reverse("scrap_log"))
    hand_client.post(reverse("scrap_log"), form_data(page, fibre=white.pk, **on_the_page))
    by_hand = Lot.objects.get()
    found = asked("log_scrap", fibre="White office", **in_the_terminal)
    by_command = Lot.objects.exclude(pk=by_hand.pk).get()
    for lot in (by_hand, by_command):
        assert (lot.as_is_mg, lot.oven_dry_mg) == (
            round(found["as_is_g"] * 1000), round(found["oven_dry_g"] * 1000),
        )  # fmt: skip
    assert (by_hand.measured, by_hand.band) == (by_command.measured, by_command.band)
    assert f"{found['oven_dry_g'] / 1000:.2f} kg oven-dry" in said(
        look(hand_client, by_hand.get_absolute_url())
    )
