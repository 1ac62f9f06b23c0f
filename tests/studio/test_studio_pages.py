"""The owner keeps the studio's figures and its moulds, and opens the studio once."""

from __future__ import annotations

import uuid

import pytest
from django.contrib.auth import get_user_model
from django.urls import reverse

from fibres.models import Fibre
from studio.models import Entry, Mould, Studio
from studio.roles import OWNER, role_of
from studio.studioforms import StudioForm
from tests.builders import PASSWORD, make_mould, make_sheet, make_studio

pytestmark = pytest.mark.django_db


def kept(client, **changes):
    """Return what the studio page would send, with some of it changed."""
    form = client.get(reverse("studio")).context["form"]
    given = {}
    for field in form:
        value = field.value()
        if isinstance(value, list):
            given[f"{field.html_name}"], given[f"{field.html_name}_unit"] = value
        else:
            given[field.html_name] = "" if value is None else str(value)
    return {**given, **changes}


def test_every_figure_of_the_form_stands_in_one_group():
    grouped = [name for _, _, names in StudioForm.GROUPS for name in names]
    assert sorted(grouped) == sorted(StudioForm.Meta.fields)


def test_page_sent_back_untouched_changes_nothing(owner_client):
    make_studio(hourly_rate_minor=1925, heel_mg=240_000)
    before = Studio.objects.values().get()
    assert owner_client.post(reverse("studio"), kept(owner_client)).status_code == 302
    assert Studio.objects.values().get() == before


def test_owner_changes_the_pay(owner_client):
    make_studio()
    owner_client.post(reverse("studio"), kept(owner_client, hourly_rate_minor="24.50"))
    assert Studio.current().hourly_rate_minor == 2450
    assert Entry.objects.last().act == "changed studio"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"price_by": "margin", "price_rate": "100"}, "give less than 100 %"),
        ({"assurance": "100"}, "less than 100 %, such as 95"),
        ({"hourly_rate_minor": "a lot"}, "plain amount in GBP"),
        ({"minutes_per_pull": "-6"}, "such as"),
    ],
)
def test_figure_that_cannot_be_is_refused_and_kept_as_typed(owner_client, changes, sentence):
    make_studio()
    before = Studio.objects.values().get()
    answer = owner_client.post(reverse("studio"), kept(owner_client, **changes))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert sentence in page
    assert all(f'value="{typed}"' in page or typed == "margin" for typed in changes.values())
    assert Studio.objects.values().get() == before


def test_markup_above_the_whole_cost_is_fine(owner_client):
    make_studio()
    changes = {"price_by": "markup", "price_rate": "150"}
    assert owner_client.post(reverse("studio"), kept(owner_client, **changes)).status_code == 302
    assert Studio.current().price_rate == 1.5


def test_mould_is_added_by_its_opening(owner_client):
    given = {"name": "Demy", "size": "17 1/2 x 22 1/2 in", "request_key": str(uuid.uuid4())}
    assert owner_client.post(reverse("mould_new"), given).status_code == 302
    demy = Mould.objects.get(name="Demy")
    assert (demy.width_um, demy.height_um) == (444_500, 571_500)


def test_mould_shows_its_opening_and_keeps_it(owner_client):
    mould = make_mould(width_um=467_000, height_um=623_000)
    page = owner_client.get(mould.get_absolute_url())
    assert "467 × 623 mm" in page.content.decode()
    assert reverse("mould_close", args=[mould.pk]) in page.content.decode()


def test_unused_mould_is_removed(owner_client):
    mould = make_mould()
    owner_client.post(reverse("mould_close", args=[mould.pk]), {"deed": "remove"})
    assert not Mould.objects.filter(pk=mould.pk).exists()


def test_mould_of_a_sheet_is_not_removed_but_closed_and_opened_again(owner_client):
    mould = make_mould()
    make_sheet(mould=mould)
    address = reverse("mould_close", args=[mould.pk])
    assert "its trail leads to 1 sheet" in owner_client.get(address).content.decode()
    assert owner_client.post(address, {"deed": "remove"}).status_code == 409
    owner_client.post(address, {"deed": "close"})
    assert Mould.objects.get(pk=mould.pk).is_closed
    owner_client.post(address, {"deed": "close"})
    assert not Mould.objects.get(pk=mould.pk).is_closed


def opened(client, **changes):
    given = {
        "studio_name": "Reed Vat", "user_name": "rue", "password": PASSWORD,
        "password_again": PASSWORD, "request_key": str(uuid.uuid4()), **changes,
    }  # fmt: skip
    return client.post(reverse("first_run"), given)


def test_first_run_makes_the_owner_signs_in_and_brings_the_usual_fibres(client):
    assert opened(client).url == reverse("today")
    assert Studio.current().name == "Reed Vat"
    assert role_of(get_user_model().objects.get()) == OWNER
    assert client.get(reverse("store")).status_code == 200
    assert Fibre.objects.count() > 25


def test_first_run_is_closed_once_somebody_has_an_account(client, owner):
    assert client.get(reverse("first_run")).url == reverse("log_in")
    assert opened(client).url == reverse("log_in")
    assert get_user_model().objects.count() == 1


def test_passwords_that_differ_open_nothing(client):
    answer = opened(client, password_again="something else 41")
    assert "not the same as the first" in answer.content.decode()
    assert not get_user_model().objects.exists()
    assert not Studio.objects.exists()
