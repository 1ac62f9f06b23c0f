"""Signs that cannot be seen are refused wherever words are kept: they would steer a terminal."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from orders.exchange import LISTS
from orders.models import Client as Buyer
from studio.errors import StudioError
from studio.forms import UNSEEN
from tests.builders import make_studio
from tests.exchange import take

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

# Escape and backspace steer a terminal; overrides make "gpj.exe" of "exe.jpg" (UAX 9, section 2).
SIGNS = ["\x1b[31m", "\x08", "\x07", "\x9b2J", "\x7f", "\u202e", "\u2066", "\x0b", "\x85"]
LINES = ["\n", "\r\n", "\t"]


def enter(browser: Client, **changes: Any) -> Any:
    given = {"name": "Quay Print Room", "contact": "", "remarks": "", **changes}
    return browser.post(reverse("client_new"), {**given, "request_key": str(uuid.uuid4())})


@pytest.mark.parametrize("sign", SIGNS, ids=ascii)
@pytest.mark.parametrize("field", ["name", "contact", "remarks"])
def test_form_refuses_a_sign_that_cannot_be_seen(
    owner_client: Client, field: str, sign: str
) -> None:
    answer = enter(owner_client, **{field: f"Quay{sign}Room"})
    assert UNSEEN in answer.content.decode()
    assert not Buyer.objects.exists()


@pytest.mark.parametrize("lines", LINES, ids=ascii)
def test_lines_belong_where_there_are_lines(owner_client: Client, lines: str) -> None:
    assert UNSEEN in enter(owner_client, name=f"Quay{lines}Room").content.decode()
    assert enter(owner_client, remarks=f"Ring first.{lines}Gate B.").status_code == 302
    assert "Gate B." in Buyer.objects.get().remarks


@pytest.mark.parametrize(
    "name", ["Pâte à papier", "和紙 工房", "کاغذ", "O’Brien & Sons", "a\u00a0b", "👩‍🎨"]
)
def test_words_of_any_writing_are_taken(owner_client: Client, name: str) -> None:
    assert enter(owner_client, name=name).status_code == 302
    assert Buyer.objects.get().name == name


@pytest.mark.parametrize("sign", SIGNS, ids=ascii)
def test_list_refuses_it_too(sign: str) -> None:
    make_studio(currency="GBP")
    with pytest.raises(StudioError):
        take(LISTS["clients"], {"name": f"Quay{sign}Room"})
    assert not Buyer.objects.exists()
