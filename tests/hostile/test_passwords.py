"""Passwords at each door where one is made: how long, how common, of any signs, kept exactly.

Requirements are those of ASVS 5.0.0, sections 6.2 and 6.4.
"""

from __future__ import annotations

import unicodedata
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from studio.roles import HAND, OWNER
from tests.builders import PASSWORD, make_studio, make_user, signed_in
from tests.hostile.ground import Ground
from tests.studio.pages import Page

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]


def at_the_first_run(password: str) -> None:
    given = {"studio_name": "Tallow Weir", "user_name": "vat"}
    twice = {"password": password, "password_again": password}
    key = {"request_key": str(uuid.uuid4())}
    Client().post(reverse("first_run"), {**given, **twice, **key})


def from_the_owner_as_new(password: str) -> None:
    given = {"username": "vat", "role": HAND, "password": password}
    owner = signed_in(make_user(OWNER))
    owner.post(reverse("person_new"), {**given, "request_key": str(uuid.uuid4())})


def from_the_owner_as_another(password: str) -> None:
    vat = make_user(HAND, name="vat", password=PASSWORD)
    given = {"username": "vat", "role": HAND, "is_active": "on", "password": password}
    owner = signed_in(make_user(OWNER))
    address = reverse("person", args=[vat.pk])
    version = owner.get(address).context["form"]["version"].value()
    owner.post(address, {**given, "version": version, "request_key": str(uuid.uuid4())})


def by_oneself(password: str) -> None:
    vat = make_user(HAND, name="vat", password=PASSWORD)
    given = {"old": PASSWORD, "password": password, "again": password}
    address = reverse("you_password")
    signed_in(vat).post(address, {**given, "request_key": str(uuid.uuid4())})


DOORS: list[Callable[[str], None]] = [
    at_the_first_run, from_the_owner_as_new, from_the_owner_as_another, by_oneself,
]  # fmt: skip
at_each_door = pytest.mark.parametrize("give", DOORS, ids=lambda give: give.__name__)


def opens(password: str) -> bool:
    """Tell whether the door itself lets somebody in by a password."""
    cache.clear()
    browser = Client()
    browser.post(reverse("log_in"), {"username": "vat", "password": password})
    return "_auth_user_id" in browser.session


@at_each_door
def test_seven_signs_are_too_few_and_eight_are_enough(give: Callable[[str], None]) -> None:
    give("qzvxkwj")
    assert not opens("qzvxkwj")
    get_user_model().objects.all().delete()
    give("qzvxkwjh")
    assert opens("qzvxkwjh")


# Words that lead published lists of what people choose, each of eight signs or more (from memory).
COMMON = ["password", "12345678", "iloveyou", "sunshine", "football", "princess", "superman",
          "trustno1", "qwertyuiop", "1q2w3e4r", "PASSWORD1", "87654321"]  # fmt: skip


@at_each_door
def test_common_words_are_refused(give: Callable[[str], None]) -> None:
    for word in COMMON:
        get_user_model().objects.all().delete()
        give(word)
        assert not opens(word), word


def test_the_list_of_common_words_is_long_enough() -> None:
    """6.2.4: three thousand of those that are long enough to be chosen at all."""
    from django.contrib.auth.password_validation import CommonPasswordValidator

    assert sum(len(word) >= 8 for word in CommonPasswordValidator().passwords) >= 3_000


OF_ONE_KIND = ["qzvxkwjh", "QZVXKWJH", "73920184", "!?&%$#@*", "плотина вал", "紙を漉く職人の手帳",
               "   a   b", "🦆🪵🧻📜🌊🪨🧵🪣", "felt'\"<b>; --", "é" * 8]  # fmt: skip
LONG = ["wove " * 12 + "laid", "x" * 50 + "qzvxkwjh" * 9 + "ab", "q" * 64]


@at_each_door
@pytest.mark.parametrize("password", [*OF_ONE_KIND, *LONG], ids=ascii)
def test_any_signs_make_a_password(give: Callable[[str], None], password: str) -> None:
    """6.2.5 and 6.2.9: no kind of sign is asked for or forbidden, and 64 and more are taken."""
    give(password)
    assert opens(password)


EXACT = " Cre\u0302pe de Chine 9 " + "x" * 100 + "Z"


@at_each_door
def test_a_password_is_held_against_what_was_sent_sign_by_sign(
    give: Callable[[str], None],
) -> None:
    """6.2.8: nothing is cut off, folded, or written in another way first."""
    give(EXACT)
    assert opens(EXACT)
    others = [EXACT.lower(), EXACT.upper(), EXACT.strip(), f"{EXACT} ", EXACT[:-1], EXACT[:72],
              EXACT[:64], EXACT + "\0", unicodedata.normalize("NFC", EXACT),
              EXACT.replace("9", "９")]  # fmt: skip
    assert [other for other in others if other == EXACT] == []
    assert [other for other in others if opens(other)] == []


def pages() -> dict[str, Page]:
    """Return each page that asks for a password, as whoever meets it."""
    found = {"first_run": Client().get(reverse("first_run"))}
    owner, hand = signed_in(make_user(OWNER)), make_user(HAND, password=PASSWORD)
    make_studio()
    found["log_in"] = Client().get(reverse("log_in"))
    found["person_new"] = owner.get(reverse("person_new"))
    found["person"] = owner.get(reverse("person", args=[hand.pk]))
    found["you_password"] = signed_in(hand).get(reverse("you_password"))
    return {name: Page(answer.content.decode()) for name, answer in found.items()}


ASKED = {
    "first_run": ["new-password", "new-password"],
    "log_in": ["current-password"],
    "person_new": ["new-password"],
    "person": ["new-password"],
    "you_password": ["current-password", "new-password", "new-password"],
}


def test_fields_for_passwords_hide_what_is_typed_and_let_keepers_of_passwords_in() -> None:
    """6.2.6 and 6.2.7: masked, marked for what keeps passwords, and nothing minds a paste."""
    for name, page in pages().items():
        words = [one for one in page.all("input") if is_for_a_password(one.attrs)]
        assert [one.attrs["autocomplete"] for one in words] == ASKED[name], name
        for one in words:
            assert one.attrs["type"] == "password", name
            assert not one.attrs.get("value"), name
            assert int(one.attrs.get("maxlength", 128)) >= 64, name
            assert "readonly" not in one.attrs, name
        assert not any(form.attrs.get("autocomplete") == "off" for form in page.all("form"))
        scripts = [one.attrs["src"] for one in page.all("script") if "src" in one.attrs]
        # Nothing else runs there, and no part of these looks at what is pasted.
        assert all("/django_htmx/" in one or one.endswith("/back.js") for one in scripts), name


def is_for_a_password(attrs: dict[str, Any]) -> bool:
    return "password" in attrs.get("type", "") or any(
        word in attrs.get("name", "") for word in ("password", "old", "again")
    )


def test_nobody_is_asked_for_a_hint_or_a_secret_question(ground: Ground) -> None:
    """6.4.2; and no page gives a way in beside the password and the owner."""
    ground.read_forms()
    names = {name for forms in ground.forms.values() for form in forms for name in form.fields}
    columns = {field.name for field in get_user_model()._meta.get_fields()}
    assert {"username", "password", "again"} <= names
    wanted = ("hint", "question", "secret", "mother", "reset")
    assert [one for one in names | columns if any(word in one for word in wanted)] == []
    [form] = ground.forms["log_in"]
    assert set(form.fields) - {"csrfmiddlewaretoken", "next"} == {"username", "password"}


def test_nobody_has_an_account_before_one_is_made() -> None:
    """6.3.2: what migrations leave behind holds no account; the demo has a file of its own."""
    assert not get_user_model().objects.exists()
    for name in ("root", "admin", "sa", "owner", "demo", "demo owner", "test", "guest"):
        for password in (name, "", "password", "halfstuff"):
            browser = Client()
            browser.post(reverse("log_in"), {"username": name, "password": password})
            assert "_auth_user_id" not in browser.session
