"""Furnishes: the list, the page of one, and the form with its three lists of rows."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fibres.models import Addition, Furnish, FurnishPart, Shrinkage
from studio.models import Entry
from tests.builders import day, make_fibre, make_furnish, make_sheet
from tests.fibres.pages import faults, see, send, told

pytestmark = pytest.mark.django_db
NEW = "/furnishes/new/"
FURNISHES = "/furnishes/"


@pytest.fixture
def linter(db):
    return make_fibre(name="Cotton linter")


@pytest.fixture
def abaca(db):
    return make_fibre(name="Abaca")


def parts(*rows):
    """Return what the rows of fibres send."""
    return {
        f"parts-{number}-{name}": value
        for number, (fibre, share) in enumerate(rows)
        for name, value in (("fibre", fibre.pk if fibre else ""), ("share", share))
    }


def rows_written():
    models = (Furnish, FurnishPart, Addition, Shrinkage, Entry)
    return [model.objects.count() for model in models]


def test_furnish_is_entered_with_all_its_rows(owner_client, linter, abaca):
    response = send(
        owner_client, NEW, name="Text", **parts((linter, "60"), (abaca, "40")),
        **{
            "additions-0-name": "Alkyl size", "additions-0-kind": "sizing",
            "additions-0-dose": "2", "additions-0-minor_per_kg": "4.50",
            "shrinkages-0-drying": "loft", "shrinkages-0-across": "4",
            "shrinkages-0-along": "2.5",
        },
    )  # fmt: skip
    furnish = Furnish.objects.get()
    assert response.url == furnish.get_absolute_url()
    assert list(furnish.parts.values_list("fibre", "share")) == [
        (linter.pk, Decimal("0.6")),
        (abaca.pk, Decimal("0.4")),
    ]
    addition, shrinkage = furnish.additions.get(), furnish.shrinkages.get()
    assert (addition.dose, addition.minor_per_kg) == (Decimal("0.02"), 450)
    assert (shrinkage.across, shrinkage.along) == (Decimal("0.04"), Decimal("0.025"))
    words = told(see(owner_client, response.url))
    for part in (
        "60 % Cotton linter, 40 % Abaca.", "In all 100 %", "Alkyl size Sizing 2 % 4.50",
        "Loft, hung free 4 % 2.5 %", "Pigments, fillers and dry powders",
    ):  # fmt: skip
        assert part in words


@pytest.mark.parametrize(
    ("shares", "fault"),
    [
        (("60", "35"), "Shares come to 95 % of dry fibre. Add 5 % to one of them."),
        (("60", "45"), "Shares come to 105 % of dry fibre. Take 5 % off one of them."),
        (
            ("33.3333", "66.6666"),
            "Shares come to 99.9999 % of dry fibre. Add 0.0001 % to one of them.",
        ),
        (("", ""), "Row 1, share: Give a share in percent"),
        (("0", "100"), "Row 1, share: Give more than 0 %."),
        (("33.33333", "66.66667"), "Row 1, share: Give at most four places"),
        (("sixty", "40"), "Row 1, share:"),
    ],
)
def test_shares_must_come_to_all_of_the_fibre(owner_client, linter, abaca, shares, fault):
    before = rows_written()
    response = send(
        owner_client, NEW, name="Kept as typed", **parts((linter, shares[0]), (abaca, shares[1]))
    )
    assert fault in faults(response)
    assert "Kept as typed" in response.content.decode()
    assert rows_written() == before


def test_furnish_needs_a_fibre(owner_client, linter):
    before = rows_written()
    response = send(owner_client, NEW, name="Empty")
    assert "Give at least one fibre with its share of the dry fibre." in faults(response)
    assert rows_written() == before


def test_fibre_that_stands_twice_is_named(owner_client, linter):
    before = rows_written()
    response = send(owner_client, NEW, name="Twice", **parts((linter, "60"), (linter, "40")))
    assert "A fibre stands in two rows. Put its shares together in one row." in faults(response)
    assert rows_written() == before


def test_drying_that_stands_twice_is_named(owner_client, linter):
    before = rows_written()
    twice = {
        f"shrinkages-{row}-{name}": value
        for row in (0, 1)
        for name, value in (("drying", "loft"), ("across", "4"), ("along", "3"))
    }
    response = send(owner_client, NEW, name="Twice", **parts((linter, "100")), **twice)
    assert "A way of drying stands in two rows. Keep one of them." in faults(response)
    assert rows_written() == before


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"name": ""}, "Name: Fill this in."),
        ({"name": "Known"}, "There is one of this name already."),
        ({"additions-0-name": "Size", "additions-0-kind": ""}, "Row 1, kind: Choose one."),
        (
            {"additions-0-name": "Size", "additions-0-kind": "sizing", "additions-0-dose": "0"},
            "Row 1, dose on dry fibre: Give more than 0 %.",
        ),
        (
            {
                "shrinkages-0-drying": "loft",
                "shrinkages-0-across": "61",
                "shrinkages-0-along": "1",
            },
            "Row 1, across: Give 60 % or less, got 61 %.",
        ),
    ],
)
def test_bad_rows_come_back_and_write_nothing(owner_client, linter, changes, fault):
    make_furnish({linter: "1"}, name="Known")
    before = rows_written()
    sent = {"name": "New", **parts((linter, "100")), **changes}
    assert fault in faults(send(owner_client, NEW, **sent))
    assert rows_written() == before


def test_every_fault_of_the_page_is_shown_at_once(owner_client, linter):
    response = send(
        owner_client, NEW, name="", **parts((linter, "95")), **{"additions-0-name": "Size"}
    )
    listed = faults(response)
    assert "Name: Fill this in." in listed
    assert "Shares come to 95 %" in listed
    assert "Row 1, kind: Choose one." in listed


def test_rows_are_changed_taken_out_and_added(owner_client, linter, abaca):
    furnish = make_furnish({linter: "0.6", abaca: "0.4"}, shrinkage=("0.04", "0.03"))
    edit = reverse("furnish_edit", args=[furnish.pk])
    kozo = make_fibre(name="Kozo")
    response = send(
        owner_client, edit, **{
            "parts-1-DELETE": "on", "parts-2-fibre": kozo.pk, "parts-2-share": "40",
            "shrinkages-0-across": "5",
        },
    )  # fmt: skip
    assert response.url == furnish.get_absolute_url()
    assert {part.fibre.name for part in furnish.parts.all()} == {"Cotton linter", "Kozo"}
    assert furnish.shrinkages.get().across == Decimal("0.05")
    assert Entry.objects.get().act == "changed furnish"


def test_form_sent_as_it_stands_changes_nothing(owner_client, linter, abaca):
    furnish = make_furnish({linter: "0.6", abaca: "0.4"}, shrinkage=("0.04", "0.025"))
    Addition.objects.create(furnish=furnish, name="Size", kind="sizing", dose=Decimal("0.015"))

    def everything():
        return [list(model.objects.order_by("pk").values()) for model in (
            Furnish, FurnishPart, Addition, Shrinkage,
        )]  # fmt: skip

    before = everything()
    send(owner_client, reverse("furnish_edit", args=[furnish.pk]))
    assert everything() == before


def test_closed_fibre_stays_in_the_furnish_that_has_it(owner_client, linter, abaca):
    furnish = make_furnish({linter: "0.6", abaca: "0.4"})
    linter.closed_on = day(1)
    linter.save()
    response = send(owner_client, reverse("furnish_edit", args=[furnish.pk]), remarks="Still")
    assert response.url == furnish.get_absolute_url()
    before = rows_written()
    refused = send(owner_client, NEW, name="Other", **parts((linter, "100")))
    assert "Choose one of those offered." in faults(refused)
    assert rows_written() == before


def test_furnish_sent_twice_is_entered_once(owner_client, linter):
    for _ in range(2):
        send(owner_client, NEW, name="Text", **parts((linter, "100")), request_key="1" * 32)
    assert rows_written()[:2] == [1, 1]


def test_price_of_an_addition_is_for_the_owner_alone(owner_client, hand_client, viewer_client):
    furnish = make_furnish()
    Addition.objects.create(
        furnish=furnish, name="Size", kind="sizing", dose=Decimal("0.02"), minor_per_kg=777
    )
    assert "7.77" in told(see(owner_client, furnish.get_absolute_url()))
    for client in (hand_client, viewer_client):
        words = told(see(client, furnish.get_absolute_url()))
        assert "7.77" not in words
        assert "Price" not in words


def test_only_the_owner_changes_furnishes(hand_client, viewer_client):
    furnish = make_furnish()
    for client in (hand_client, viewer_client):
        assert "Change it" not in told(see(client, furnish.get_absolute_url()))
        assert not see(client, FURNISHES).all("a", class_="do")
        for address in (NEW, reverse("furnish_edit", args=[furnish.pk])):
            assert client.get(address).status_code == 403
            assert client.post(address, {"name": "x"}).status_code == 403


def test_furnish_with_a_sheet_is_closed_and_not_removed(owner_client):
    furnish = make_furnish()
    make_sheet(furnish)
    close = reverse("furnish_close", args=[furnish.pk])
    assert owner_client.post(close, {"deed": "remove"}).status_code == 409
    owner_client.post(close, {"deed": "close"})
    words = told(see(owner_client, furnish.get_absolute_url()))
    assert "Closed. 100 % Abaca" in words
    assert "Open again" in words


def test_furnish_without_parts_says_so(owner_client):
    furnish = Furnish.objects.create(name="Bare")
    words = told(see(owner_client, furnish.get_absolute_url()))
    assert "No fibre is in it yet." in words
    assert "Nothing is added." in words
    assert "No shrinkage is known." in words


def test_page_leads_to_a_fibre_where_there_is_none(owner_client):
    (link,) = see(owner_client, NEW).all("a", class_="do")
    assert link.attrs["href"] == reverse("fibres")


def test_furnishes_are_narrowed_sorted_and_taken_along(owner_client, viewer_client, linter, abaca):
    text = make_furnish({linter: "0.6", abaca: "0.4"}, name="Text", remarks="Soft")
    card = make_furnish({linter: "1"}, name="Card", closed_on=day(1))

    def found(query):
        page = see(owner_client, f"{FURNISHES}?{query}")
        return [row.attrs["href"] for row in page.all("a") if "tbody" in row.inside]

    urls = [card.get_absolute_url(), text.get_absolute_url()]
    assert found("") == urls
    assert found("sort=-furnish") == urls[::-1]
    assert found(f"fibre={abaca.pk}") == [urls[1]]
    assert found(f"fibre={linter.pk}") == urls
    assert found("use=closed") == [urls[0]]
    assert found("words=soft") == [urls[1]]
    file = owner_client.get(f"{FURNISHES}?format=csv").getvalue().decode()
    assert "60 % Cotton linter, 40 % Abaca" in file.replace("\xa0", " ")
    assert viewer_client.get(f"{FURNISHES}?format=csv").status_code == 403


@pytest.mark.parametrize("one", [False, True])
def test_query_count_is_the_same_for_one_and_for_twenty_rows(owner_client, one):
    def count():
        address = Furnish.objects.order_by("pk").first().get_absolute_url() if one else FURNISHES
        owner_client.get(address)
        with CaptureQueriesContext(connection) as queries:
            owner_client.get(address)
        return len(queries)

    first = make_furnish({make_fibre(name="F0"): "1"})
    few = count()
    for number in range(1, 21):
        fibre = make_fibre(name=f"F{number}")
        if one:
            FurnishPart.objects.create(furnish=first, fibre=fibre, share=Decimal("0.01"))
        else:
            make_furnish({fibre: "1"})
    assert count() == few
