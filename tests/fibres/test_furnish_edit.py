"""Changing a furnish: many rows, rows that exchange fibres, and two people at once."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fibres.models import Furnish, FurnishPart, Shrinkage
from studio.models import Entry
from studio.pages import RowPage
from tests.builders import make_fibre, make_furnish
from tests.fibres.pages import faults, see, send, typed

pytestmark = pytest.mark.django_db
CHANGED = "Somebody changed this furnish meanwhile. Look at it again"


@pytest.fixture
def linter(db):
    return make_fibre(name="Cotton linter")


@pytest.fixture
def abaca(db):
    return make_fibre(name="Abaca")


@pytest.fixture
def furnish(linter, abaca):
    return make_furnish({linter: "0.6", abaca: "0.4"}, name="Text")


def edit(furnish):
    return reverse("furnish_edit", args=[furnish.pk])


def shares(furnish):
    return dict(furnish.parts.values_list("fibre__name", "share"))


def test_two_rows_exchange_their_fibres(owner_client, furnish, linter, abaca):
    response = send(
        owner_client, edit(furnish), **{"parts-0-fibre": abaca.pk, "parts-1-fibre": linter.pk}
    )
    assert response.status_code == 302
    assert shares(furnish) == {"Abaca": Decimal("0.6"), "Cotton linter": Decimal("0.4")}


def test_row_takes_the_fibre_of_one_that_is_taken_out(owner_client, furnish, abaca):
    response = send(
        owner_client, edit(furnish),
        **{"parts-0-fibre": abaca.pk, "parts-0-share": "100", "parts-1-DELETE": "on"},
    )  # fmt: skip
    assert response.status_code == 302
    assert shares(furnish) == {"Abaca": 1}


def test_two_ways_of_drying_exchange_their_shrinkage(owner_client, furnish):
    for drying, across in (("air", "0.05"), ("loft", "0.04")):
        Shrinkage.objects.create(
            furnish=furnish, drying=drying, across=Decimal(across), along=Decimal("0.01")
        )
    response = send(
        owner_client, edit(furnish),
        **{"shrinkages-0-drying": "loft", "shrinkages-1-drying": "air"},
    )  # fmt: skip
    assert response.status_code == 302
    found = dict(furnish.shrinkages.values_list("drying", "across"))
    assert found == {"loft": Decimal("0.05"), "air": Decimal("0.04")}


def test_query_count_of_the_form_is_the_same_for_one_and_for_twenty_parts(owner_client, linter):
    furnish = make_furnish({linter: "1"})

    def count():
        owner_client.get(edit(furnish))
        with CaptureQueriesContext(connection) as queries:
            owner_client.get(edit(furnish))
        return len(queries)

    few = count()
    for number in range(20):
        fibre = make_fibre(name=f"F{number}")
        FurnishPart.objects.create(furnish=furnish, fibre=fibre, share=Decimal("0.01"))
    assert count() == few


def blown_up(page, name, total):
    """Return what a page sends that claims so many rows of one list."""
    return {**page, f"{name}-TOTAL_FORMS": str(total)}


@pytest.mark.parametrize("name", ["parts", "additions", "shrinkages"])
@pytest.mark.parametrize("total", [61, 900])
def test_page_of_too_many_rows_is_refused(owner_client, furnish, name, total):
    before = shares(furnish)
    page = blown_up(typed(see(owner_client, edit(furnish))), name, total)
    response = owner_client.post(edit(furnish), page)
    assert "Give at most 40 rows." in faults(response)
    assert f'name="{name}-60-' not in response.content.decode()
    assert shares(furnish) == before
    assert not Entry.objects.exists()


def test_part_that_somebody_added_meanwhile_is_not_overlooked(owner_client, furnish):
    page = typed(see(owner_client, edit(furnish)))
    FurnishPart.objects.create(
        furnish=furnish, fibre=make_fibre(name="Kozo"), share=Decimal("0.5")
    )
    before = shares(furnish)
    response = owner_client.post(edit(furnish), {**page, "parts-0-share": "50",
                                                 "parts-1-share": "50"})  # fmt: skip
    assert CHANGED in faults(response)
    assert shares(furnish) == before
    assert not Entry.objects.exists()


def test_part_that_somebody_took_out_meanwhile_is_told_once(owner_client, furnish, linter):
    page = typed(see(owner_client, edit(furnish)))
    furnish.parts.get(fibre=linter).delete()
    furnish.parts.update(share=1)
    response = owner_client.post(edit(furnish), page)
    listed = faults(response)
    assert listed.startswith(f"Put one thing right {CHANGED}")
    assert shares(furnish) == {"Abaca": 1}
    assert not Entry.objects.exists()


def test_shares_that_changed_under_the_lock_are_added_up_again(
    owner_client, furnish, abaca, monkeypatch
):
    saving = RowPage.act

    def meddled(page, form, key):
        FurnishPart.objects.filter(fibre=abaca).update(share=Decimal("0.5"))
        return saving(page, form, key)

    monkeypatch.setattr(RowPage, "act", meddled)
    response = send(owner_client, edit(furnish), remarks="Soft")
    assert CHANGED in faults(response)
    assert shares(furnish) == {"Cotton linter": Decimal("0.6"), "Abaca": Decimal("0.4")}
    assert Furnish.objects.get().remarks == ""
    assert not Entry.objects.exists()


def test_change_sent_twice_is_made_once(owner_client, furnish, abaca):
    page = typed(see(owner_client, edit(furnish)))
    page = {**page, "parts-0-share": "100", "parts-1-DELETE": "on"}
    first, second = (owner_client.post(edit(furnish), page) for _ in range(2))
    assert first.url == second.url == furnish.get_absolute_url()
    assert Entry.objects.count() == 1


@pytest.mark.parametrize(
    "changes",
    [
        {"additions-0-name": "Size"},
        {"shrinkages-0-drying": "loft"},
        {"parts-0-share": ""},
    ],
)
def test_title_counts_the_faults_of_every_list(owner_client, furnish, changes):
    html = send(owner_client, edit(furnish), **changes).content.decode()
    title = html.partition("<title>")[2].partition("</title>")[0]
    listed = html.partition('role="alert"')[2].partition("</ol>")[0].count("<li>")
    assert title.startswith(f"{listed} error")
