"""The owner keeps the studio's figures and its moulds, and opens the studio once."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.contrib.auth import get_user_model
from django.core.exceptions import ValidationError
from django.urls import reverse

from fibres.models import Fibre
from studio.forms import DayField
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


def test_owner_says_how_long_making_takes_and_what_comes_first(owner_client):
    make_studio()
    changes = {"making_days": "10", "aims": "cost first"}
    owner_client.post(reverse("studio"), kept(owner_client, **changes))
    studio = Studio.current()
    assert (studio.making_days, studio.aims) == (10, "cost first")


def test_owner_says_how_book_cost_is_kept_and_how_far_prices_move(owner_client):
    make_studio()
    changes = {"book_cost": "average", "price_spread": "15", "minutes_spread": "30"}
    owner_client.post(reverse("studio"), kept(owner_client, **changes))
    studio = Studio.current()
    assert studio.book_cost == "average"
    assert (studio.price_spread, studio.minutes_spread) == (Decimal("0.15"), Decimal("0.3"))


def test_owner_says_what_a_new_quote_starts_with(owner_client):
    make_studio()
    changes = {
        "quote_days": "14", "quote_deposit": "30", "quote_includes": "Packing",
        "size_tolerance_um": "2.5",
    }  # fmt: skip
    owner_client.post(reverse("studio"), kept(owner_client, **changes))
    studio = Studio.current()
    assert (studio.quote_days, studio.quote_deposit) == (14, Decimal("0.3"))
    assert (studio.quote_includes, studio.size_tolerance_um) == ("Packing", 2500)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"quote_days": "0"}, "Give 1 or more, got 0\u00a0days."),
        ({"price_spread": "101"}, "100 %"),
        ({"making_days": "366"}, "Give 365 or fewer, got 366\u00a0days."),
        ({"making_days": "soon"}, "whole number"),
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
    owner_client.post(address, {"deed": "open"})
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


def test_change_made_meanwhile_is_told_and_kept_until_it_is_looked_at(owner_client):
    make_studio(hourly_rate_minor=2200, trial_pulls=2)
    opened_before = kept(owner_client, trial_pulls="3")
    owner_client.post(reverse("studio"), kept(owner_client, hourly_rate_minor="31.00"))
    answer = owner_client.post(reverse("studio"), opened_before)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Somebody changed this after the page was opened" in page
    assert "Pay for an hour: 31.00" in page
    assert Studio.current().hourly_rate_minor == 3100
    # Looked over and sent again, what stands on the page is kept.
    again = {**opened_before, "version": answer.context["form"]["version"].value()}
    again["request_key"] = str(uuid.uuid4())
    assert owner_client.post(reverse("studio"), again).status_code == 302
    assert (Studio.current().hourly_rate_minor, Studio.current().trial_pulls) == (2200, 3)


def test_currency_with_other_decimal_places_is_refused(owner_client):
    make_studio(currency="GBP")
    answer = owner_client.post(reverse("studio"), kept(owner_client, currency="JPY"))
    assert "Keep GBP" in answer.content.decode()
    owner_client.post(reverse("studio"), kept(owner_client, currency="EUR"))
    assert Studio.current().currency == "EUR"


def test_refused_figures_do_not_rename_the_studio_on_the_page(owner_client):
    make_studio(name="Reed Vat")
    answer = owner_client.post(
        reverse("studio"), kept(owner_client, name="Other", assurance="100")
    )
    assert "<small>Reed Vat</small>" in answer.content.decode()


def test_mould_closed_twice_from_one_page_stays_closed(owner_client):
    mould = make_mould()
    make_sheet(mould=mould)
    address = reverse("mould_close", args=[mould.pk])
    key = str(uuid.uuid4())
    for _ in range(2):
        owner_client.post(address, {"deed": "close", "request_key": key})
    assert Mould.objects.get(pk=mould.pk).is_closed
    assert Entry.objects.filter(request_key=key).count() == 1


def test_name_of_another_mould_is_refused_in_plain_words(owner_client):
    make_mould(name="Demy")
    given = {"name": "Demy", "size": "A4", "request_key": str(uuid.uuid4())}
    answer = owner_client.post(reverse("mould_new"), given)
    assert "Another mould has this name already" in answer.content.decode()


def test_price_of_energy_may_have_parts_of_a_penny(owner_client):
    make_studio()
    owner_client.post(reverse("studio"), kept(owner_client, energy_minor_per_kwh="0.285"))
    assert Studio.current().energy_minor_per_kwh == Decimal("28.5")
    assert 'value="0.285"' in owner_client.get(reverse("studio")).content.decode()


@pytest.mark.parametrize("typed", ["-0.2", "1e3", "0.1234567", "a lot", "1,285"])
def test_price_of_energy_that_cannot_be_read_is_refused(owner_client, typed):
    make_studio()
    answer = owner_client.post(reverse("studio"), kept(owner_client, energy_minor_per_kwh=typed))
    assert answer.status_code == 200
    assert "such as 0.285" in answer.content.decode()


@pytest.mark.parametrize("typed", ["1800-01-01", "9999-12-31"])
def test_day_outside_living_memory_is_refused(typed):
    with pytest.raises(ValidationError, match="from 2000 to 2100"):
        DayField().clean(typed)


def test_moulds_are_listed_with_filters_and_exported(owner_client):
    make_mould(name="Demy")
    make_mould(name="Royal")
    page = owner_client.get(reverse("moulds"), {"words": "dem"}).content.decode()
    assert "Demy" in page
    assert "Royal" not in page
    export = owner_client.get(reverse("moulds"), {"format": "csv"})
    assert "Royal" in b"".join(export).decode("utf-8-sig")
