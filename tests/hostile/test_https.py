"""A studio behind an HTTPS server: what answers carry there, and what its cookies are called.

The settings are read by the program itself, in a process of its own, from what a person sets.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import uuid
from collections.abc import Callable
from http.cookies import Morsel
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import hashers
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from studio import serving, tokens
from studio.copies import upgrading
from studio.roles import OWNER
from tests.builders import PASSWORD, make_studio, make_user

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

ROOT = Path(__file__).resolve().parents[2]
HOST = "studio.example"
NAMES = (
    "ALLOWED_HOSTS", "COOKIE_PREFIX", "CSRF_COOKIE_DOMAIN", "CSRF_COOKIE_NAME", "CSRF_COOKIE_PATH",
    "CSRF_COOKIE_SAMESITE", "CSRF_COOKIE_SECURE", "CSRF_TRUSTED_ORIGINS", "HTTPS",
    "LANGUAGE_COOKIE_SECURE", "MESSAGE_STORAGE", "SECURE_HSTS_SECONDS", "SECURE_PROXY_SSL_HEADER",
    "SECURE_HSTS_INCLUDE_SUBDOMAINS", "SECURE_SSL_REDIRECT", "SESSION_COOKIE_DOMAIN",
    "SESSION_COOKIE_HTTPONLY", "SESSION_COOKIE_NAME", "SESSION_COOKIE_PATH",
    "SESSION_COOKIE_SAMESITE", "SESSION_COOKIE_SECURE", "SESSION_ENGINE",
)  # fmt: skip
ASKED = f"""
import json, django
from django.conf import settings
from django.contrib.auth.hashers import make_password
django.setup()
told = {{name: getattr(settings, name) for name in {NAMES!r}}}
print(json.dumps([told, make_password("felt and deckle 9")]))
"""


def as_set_up(folder: Path, **told: str) -> tuple[dict[str, Any], str]:
    """Return the settings that a set-up has, and a password as it is kept there."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("HALFSTUFF_")}
    told = {"HALFSTUFF_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "studio.settings", **told}
    done = subprocess.run(
        [sys.executable, "-c", ASKED],
        cwd=ROOT, env={**kept, **told}, capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    settings, password = json.loads(done.stdout)
    return settings, password


@pytest.fixture(scope="module")
def set_up(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], str]:
    folder = tmp_path_factory.mktemp("https")
    return as_set_up(folder, HALFSTUFF_HTTPS="1", HALFSTUFF_HOSTS=HOST)


@pytest.fixture
def over_https(set_up: Any, settings: Any) -> Callable[..., Client]:
    """Make browsers that ask through the server in front, in the studio as it is set up there."""
    for name, value in set_up[0].items():
        setattr(settings, name, value)
    make_studio()
    return lambda **how: Client(HTTP_HOST=HOST, HTTP_X_FORWARDED_PROTO="https", **how)


# RFC 6797, section 6.1; ASVS 5.0.0, 3.4.1: a year at least.
YEAR = 365 * 24 * 3600
ANSWERS: dict[str, tuple[int, Callable[[Client], Any]]] = {
    "log-in": (200, lambda browser: browser.get("/log-in/")),
    "led to the log-in": (302, lambda browser: browser.get("/store/")),
    "no such page": (404, lambda browser: browser.get("/nowhere/")),
    "style sheet": (200, lambda browser: browser.get("/static/studio/halfstuff.css")),
    "no token": (401, lambda browser: browser.get("/api/")),
    "too large": (413, lambda browser: browser.post("/log-in/", CONTENT_LENGTH="99999999999")),
    "no mark": (403, lambda browser: browser.post("/log-in/", HTTP_ORIGIN="https://x.example")),
    "foreign host": (400, lambda browser: browser.get("/", HTTP_HOST="evil.example")),
    "not asked this way": (405, lambda browser: browser.get("/log-out/")),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_every_answer_keeps_browsers_to_https_for_a_year(
    over_https: Callable[..., Client], owner: Any, name: str
) -> None:
    status, ask = ANSWERS[name]
    answer = ask(over_https(enforce_csrf_checks=name == "no mark"))
    if answer.streaming:
        list(answer)
    assert answer.status_code == status
    told = re.search(r"max-age=(\d+)", answer.get("Strict-Transport-Security", ""))
    assert told
    assert int(told[1]) >= YEAR


@pytest.mark.parametrize("path", ["/", "/log-in/", "/store/", "/nowhere/"])
def test_asked_without_https_a_page_leads_there_and_says_nothing(
    over_https: Callable[..., Client], owner: Any, path: str
) -> None:
    answer = over_https().get(path, HTTP_X_FORWARDED_PROTO="http")
    assert (answer.status_code, answer["Location"]) == (301, f"https://{HOST}{path}")
    assert answer.content == b""
    assert not answer.cookies


def cookies_of_a_day(browser: Client) -> dict[str, Morsel[str]]:
    """Sign in, be told something, sign out; return every cookie that was given meanwhile."""
    make_user(OWNER, name="vat", password=PASSWORD)
    given: dict[str, Morsel[str]] = {}

    def note(answer: Any) -> Any:
        given.update({name: kept for name, kept in answer.cookies.items() if kept.value})
        return answer

    note(browser.get("/log-in/"))
    note(browser.post("/log-in/", {"username": "vat", "password": PASSWORD}))
    key = str(uuid.uuid4())
    note(browser.post(reverse("you"), {"units": "US", "request_key": key}))
    page = note(browser.get(reverse("you"))).content.decode()
    # The notice came along in its cookie.
    assert "Your pages are in these units from now on." in page
    note(browser.post("/log-out/"))
    return given


def test_every_cookie_is_kept_to_this_host_and_to_https(over_https: Callable[..., Client]) -> None:
    """ASVS 5.0.0, 3.3.1 to 3.3.5; what ``__Host-`` asks for is in RFC 6265bis, section 4.1.3.2."""
    given = cookies_of_a_day(over_https())
    kinds = {name.removeprefix("__Host-") for name in given}
    assert kinds == {"sessionid", "csrftoken", "messages"}
    for name, kept in given.items():
        assert name.startswith("__Host-")
        assert (bool(kept["secure"]), kept["path"], kept["domain"]) == (True, "/", ""), name
        assert kept["samesite"] in {"Lax", "Strict"}, name
        assert len(name) + len(kept.value) <= 4096, name
        # Pages carry the mark of a form themselves; the two others no script may read.
        assert kept["httponly"] or name.endswith("csrftoken"), name


def test_without_https_the_program_still_works_and_no_cookie_claims_to_be_safe(db: None) -> None:
    """A browser drops a ``__Host-`` cookie that comes over plain HTTP: nobody could sign in."""
    make_studio()
    given = cookies_of_a_day(Client())
    assert set(given) == {"sessionid", "csrftoken", "messages"}


def test_password_is_kept_by_a_slow_function(set_up: Any) -> None:
    """PBKDF2 with SHA-256; 600 000 rounds are what OWASP gave for it in 2023 (from memory)."""
    told = hashers.PBKDF2PasswordHasher().decode(set_up[1])
    assert told["algorithm"] == "pbkdf2_sha256"
    assert told["iterations"] >= 600_000
    assert "felt" not in set_up[1]


@pytest.mark.parametrize(("host", "https", "told"), [
    ("127.0.0.1", False, False), ("localhost", False, False), ("0.0.0.0", False, True),
    ("0.0.0.0", True, False), ("::ffff:127.0.0.1", False, False),
])  # fmt: skip
def test_server_that_others_can_ask_says_that_passwords_are_sent_in_the_clear(
    monkeypatch: pytest.MonkeyPatch, settings: Any, host: str, https: bool, told: bool
) -> None:
    settings.HTTPS = https
    monkeypatch.setattr(serving, "serve", lambda taken, say: None)
    monkeypatch.setattr(upgrading, "bring_up_to_date", lambda **how: None)
    out = StringIO()
    call_command("serve", host=host, port="0", stdout=out)
    assert ("unciphered" in out.getvalue()) is told


def test_a_token_sent_without_https_is_not_answered(
    over_https: Callable[..., Client], owner: Any
) -> None:
    token = tokens.make(owner, "wall display")
    asked = {"HTTP_AUTHORIZATION": f"Bearer {token}"}
    assert over_https().get("/api/", **asked).status_code == 200
    answer = over_https().get("/api/", **asked, HTTP_X_FORWARDED_PROTO="http")
    assert (answer.status_code, answer.content) == (301, b"")
