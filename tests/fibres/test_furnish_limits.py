"""How far the share of a fibre may vary and what may stand in for it: form, page and words."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fibres.models import FurnishPart
from studio.models import Entry
from tests.builders import day, make_fibre, make_furnish, make_sheet
from tests.fibres.pages import faults, see, send, told

pytestmark = pytest.mark.django_db


@pytest.fixture
def linter(db):
    return make_fibre(name="Cotton linter")


@pytest.fixture
def abaca(db):
    return make_fibre(name="Abaca")


@pytest.fixture
def flax(db):
    return make_fibre(name="Flax")


@pytest.fixture
def furnish(linter, abaca):
    return make_furnish({linter: "0.6", abaca: "0.4"}, name="Text")


@pytest.fixture
def varied(furnish, flax):
    """60 % linter, 50 to 70; 40 % abaca, 30 to 50, or flax."""
    limits = {"Cotton linter": ("0.5", "0.7"), "Abaca": ("0.3", "0.5")}
    for name, (least, most) in limits.items():
        furnish.parts.filter(fibre__name=name).update(least=Decimal(least), most=Decimal(most))
    furnish.parts.get(fibre__name="Abaca").substitutes.add(flax)
    return furnish


def edit(furnish):
    return reverse("furnish_edit", args=[furnish.pk])


def limits(furnish):
    return {
        part.fibre.name: (part.least, part.most, {fibre.name for fibre in part.substitutes.all()})
        for part in furnish.parts.select_related("fibre")
    }


def test_range_and_what_stands_in_are_kept(owner_client, furnish, flax):
    response = send(
        owner_client, edit(furnish),
        **{
            "parts-0-least": "50", "parts-0-most": "70", "parts-1-least": "30",
            "parts-1-most": "50", "parts-1-substitutes": [flax.pk],
        },
    )  # fmt: skip
    assert response.status_code == 302
    assert limits(furnish) == {
        "Cotton linter": (Decimal("0.5"), Decimal("0.7"), set()),
        "Abaca": (Decimal("0.3"), Decimal("0.5"), {"Flax"}),
    }


def test_left_empty_a_share_is_fixed(owner_client, furnish):
    send(owner_client, edit(furnish), remarks="Soft", **{"parts-0-share": "60.0"})
    assert [part.limits for part in furnish.parts.all()] == [
        (Decimal("0.6"), Decimal("0.6")),
        (Decimal("0.4"), Decimal("0.4")),
    ]


def test_what_stands_in_stays_when_only_a_share_changes(owner_client, varied):
    response = send(owner_client, edit(varied), **{"parts-0-share": "55", "parts-1-share": "45"})
    assert response.status_code == 302
    assert limits(varied)["Abaca"] == (Decimal("0.3"), Decimal("0.5"), {"Flax"})


def test_what_stands_in_is_taken_out(owner_client, varied):
    response = send(owner_client, edit(varied), **{"parts-1-substitutes": None})
    assert response.status_code == 302
    assert limits(varied)["Abaca"][2] == set()


def test_form_shows_what_is_kept(owner_client, varied, flax):
    page = see(owner_client, edit(varied))
    assert page.one("input", name="parts-1-least").attrs["value"] == "30"
    ticked = [
        box.attrs["value"]
        for box in page.all("input", name="parts-1-substitutes")
        if "checked" in box.attrs
    ]
    assert ticked == [str(flax.pk)]
    assert [one.text.strip() for one in page.all("summary")][:2] == ["Nothing", "Flax"]


@pytest.mark.parametrize(
    ("typed", "fault"),
    [
        ({"parts-0-least": "61"}, "Row 1, least: Give 60 % or less: the share lies above it."),
        ({"parts-0-most": "59"}, "Row 1, most: Give 60 % or more: the share lies below it."),
        ({"parts-0-most": "101"}, "Row 1, most:"),
        ({"parts-0-least": "little"}, "Row 1, least:"),
        ({"parts-0-least": "50.00001"}, "Row 1, least: Give at most four places"),
        (
            {"parts-0-least": "50", "parts-1-least": "30"},
            "Row 1, least: Less of it is more of another fibre. Give another a most above its",
        ),
        (
            {"parts-0-most": "70", "parts-1-most": "50"},
            "Row 2, most: More of it is less of another fibre. Give another a least below its",
        ),
    ],
)
def test_limits_that_cannot_be_are_refused(owner_client, furnish, typed, fault):
    response = send(owner_client, edit(furnish), **typed)
    assert fault in faults(response)
    assert {found[:2] for found in limits(furnish).values()} == {(None, None)}
    assert not Entry.objects.exists()


def test_one_may_take_more_where_another_may_take_less(owner_client, furnish):
    response = send(owner_client, edit(furnish), **{"parts-0-most": "70", "parts-1-least": "30"})
    assert response.status_code == 302


@pytest.mark.parametrize("name", ["Cotton linter", "Abaca"])
def test_fibre_of_the_furnish_does_not_stand_in(owner_client, furnish, linter, abaca, name):
    fibre = {"Cotton linter": linter, "Abaca": abaca}[name]
    response = send(owner_client, edit(furnish), **{"parts-0-substitutes": [fibre.pk]})
    assert f"Row 1, may be replaced by: {name} is in the furnish already." in faults(response)
    assert not FurnishPart.substitutes.through.objects.exists()


def test_fibre_of_a_row_that_is_taken_out_may_stand_in(owner_client, furnish, abaca):
    response = send(
        owner_client, edit(furnish),
        **{"parts-0-share": "100", "parts-0-substitutes": [abaca.pk], "parts-1-DELETE": "on"},
    )  # fmt: skip
    assert response.status_code == 302
    assert limits(furnish) == {"Cotton linter": (None, None, {"Abaca"})}


def test_fibre_that_is_not_offered_is_refused(owner_client, furnish):
    closed = make_fibre(name="Sisal", closed_on=day())
    response = send(owner_client, edit(furnish), **{"parts-0-substitutes": [closed.pk]})
    assert "Row 1, may be replaced by: Choose" in faults(response)


def test_fibre_closed_since_stays_where_it_stands_in(owner_client, varied, flax):
    type(flax).objects.filter(pk=flax.pk).update(closed_on=day())
    response = send(owner_client, edit(varied), **{"parts-0-share": "55", "parts-1-share": "45"})
    assert response.status_code == 302
    assert limits(varied)["Abaca"][2] == {"Flax"}


WORDS = "60 % Cotton linter (50 % to 70 %), 40 % Abaca (30 % to 50 %; or Flax)"


@pytest.mark.parametrize("where", ["furnish", "list", "sheet"])
def test_range_and_stand_ins_are_told_wherever_the_recipe_is(owner_client, varied, where):
    address = {
        "furnish": varied.get_absolute_url(),
        "list": "/furnishes/",
        "sheet": make_sheet(varied).get_absolute_url(),
    }[where]
    assert WORDS in told(see(owner_client, address))


def test_the_page_lists_least_most_and_stand_ins(owner_client, varied):
    words = told(see(owner_client, varied.get_absolute_url()))
    assert "Fibre Share Least Most May be replaced by" in words
    assert "Abaca 40 % 30 % 50 % Flax" in words


def test_query_count_is_the_same_for_one_and_for_twenty_stand_ins(owner_client, linter):
    def count(address):
        owner_client.get(address)
        with CaptureQueriesContext(connection) as queries:
            assert owner_client.get(address).status_code == 200
        return len(queries)

    furnish = make_furnish({linter: "1"})
    furnish.parts.get().substitutes.add(make_fibre())
    sheet = make_sheet(furnish).get_absolute_url()
    addresses = [edit(furnish), furnish.get_absolute_url(), "/furnishes/", sheet]
    few = [count(address) for address in addresses]
    for number in range(20):
        part = FurnishPart.objects.create(
            furnish=furnish, fibre=make_fibre(name=f"F{number}"), share=Decimal("0.01")
        )
        part.substitutes.set([make_fibre(), make_fibre()])
    assert [count(address) for address in addresses] == few
