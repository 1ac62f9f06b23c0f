"""Settings that leave a door open are caught, each of them; those of the house are clean.

The list is that of A4: a broken setting each, found by Django's own checks or by the house's.
"""

from __future__ import annotations

import os
import re
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core import checks

pytestmark = pytest.mark.hostile

ROOT = Path(__file__).resolve().parents[2]
LONG_KEY = "".join(chr(33 + (7 * number) % 90) for number in range(60))


@pytest.fixture
def shared(settings: Any) -> Any:
    """Return the settings as they are where HALFSTUFF_HTTPS is 1 and a name is given."""
    settings.DEBUG = False
    settings.HTTPS = True
    settings.SECRET_KEY = LONG_KEY
    settings.ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]", "studio.example"]
    settings.AXES_ENABLED = True
    settings.SECURE_SSL_REDIRECT = settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    settings.SECURE_HSTS_PRELOAD = settings.SESSION_COOKIE_SECURE = True
    settings.CSRF_COOKIE_SECURE = True
    settings.SECURE_HSTS_SECONDS = 365 * 24 * 3600
    return settings


def found() -> set[str]:
    messages = checks.run_checks(tags=[checks.Tags.security], include_deployment_checks=True)
    return {message.id for message in messages if message.level >= checks.WARNING}


def without(name: str) -> Any:
    def change(settings: Any) -> None:
        settings.MIDDLEWARE = [one for one in settings.MIDDLEWARE if one != name]

    return change


def policy(**changes: list[str]) -> Any:
    def change(settings: Any) -> None:
        told = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]
        changed = {name.replace("_", "-"): sources for name, sources in changes.items()}
        settings.CONTENT_SECURITY_POLICY = {"DIRECTIVES": {**told, **changed}}

    return change


def put(**changes: Any) -> Any:
    def change(settings: Any) -> None:
        for name, value in changes.items():
            setattr(settings, name, value)

    return change


BROKEN = {
    "debug for other machines": (put(DEBUG=True), "studio.E011"),
    "any host": (put(ALLOWED_HOSTS=["*"]), "studio.E012"),
    "any host of a domain": (put(ALLOWED_HOSTS=[".studio.example"]), "studio.E012"),
    "short key": (put(SECRET_KEY="short" * 3), "security.W009"),
    "no mark on forms": (without("django.middleware.csrf.CsrfViewMiddleware"), "studio.E013"),
    "no log-in": (
        without("django.contrib.auth.middleware.LoginRequiredMiddleware"), "studio.E013"),
    "no gate": (without("studio.middleware.Gate"), "studio.E013"),
    "no policy": (without("csp.middleware.CSPMiddleware"), "studio.E013"),
    "tries not counted": (put(AXES_ENABLED=False), "studio.E014"),
    "tries counted by address": (put(AXES_LOCKOUT_PARAMETERS=["ip_address"]), "studio.E014"),
    "tries counted by name": (put(AXES_LOCKOUT_PARAMETERS=["username"]), "studio.E014"),
    "wait without end": (put(AXES_COOLOFF_TIME=None), "studio.E014"),
    "guard not asked": (put(AUTHENTICATION_BACKENDS=[
        "django.contrib.auth.backends.ModelBackend"]), "studio.E014"),
    "scripts in pages": (policy(script_src=["'self'", "'unsafe-inline'"]), "studio.E015"),
    "files of others": (policy(img_src=["*"]), "studio.E015"),
    "cookie for scripts": (put(SESSION_COOKIE_HTTPONLY=False), "studio.E016"),
    "cookie for other sites": (put(SESSION_COOKIE_SAMESITE=None), "studio.E016"),
    "any password": (put(AUTH_PASSWORD_VALIDATORS=[]), "studio.E017"),
    "cookie in the clear": (put(SESSION_COOKIE_SECURE=False), "security.W012"),
    "mark in the clear": (put(CSRF_COOKIE_SECURE=False), "security.W016"),
    "no strict transport": (put(SECURE_HSTS_SECONDS=0), "security.W004"),
    "no redirect": (put(SECURE_SSL_REDIRECT=False), "security.W008"),
    "frames": (put(X_FRAME_OPTIONS="SAMEORIGIN"), "security.W019"),
    "no HTTPS": (put(HTTPS=False), "studio.W011"),
}  # fmt: skip


def test_settings_of_a_shared_studio_are_clean(shared: Any) -> None:
    assert found() == set()


@pytest.mark.parametrize("name", BROKEN)
def test_broken_setting_is_caught(shared: Any, name: str) -> None:
    change, told = BROKEN[name]
    change(shared)
    assert told in found()


def test_policy_without_a_directive_is_caught(shared: Any) -> None:
    told = dict(shared.CONTENT_SECURITY_POLICY["DIRECTIVES"])
    del told["frame-ancestors"]
    shared.CONTENT_SECURITY_POLICY = {"DIRECTIVES": told}
    assert "studio.E015" in found()


# --- a set-up of its own, from the environment --------------------------------------------------


def set_up(folder: Path, *arguments: str, **told: str) -> subprocess.CompletedProcess[str]:
    """Run a command as a person's shell would: without what these tests tell themselves."""
    ours = ("HALFSTUFF_", "DJANGO_")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    told = {"HALFSTUFF_DATA": str(folder), "HALFSTUFF_SQLITE_JOURNAL": "wal", **told}
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT, env={**kept, **told}, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def test_shared_set_up_is_clean_and_broken_ones_stop_the_program(tmp_path: Path) -> None:
    told = {"HALFSTUFF_HTTPS": "1", "HALFSTUFF_HOSTS": "studio.example"}
    clean = set_up(tmp_path / "a", "check", "--deploy", "--fail-level", "WARNING", **told)
    assert clean.returncode == 0, clean.stderr
    for changes, sentence in (
        ({"HALFSTUFF_DEBUG": "1"}, "studio.E011"),
        ({"HALFSTUFF_HOSTS": "*"}, "studio.E012"),
        ({"HALFSTUFF_SECRET_KEY": "short"}, "too easy to guess"),
    ):
        broken = set_up(tmp_path / "a", "check", **{**told, **changes})
        assert broken.returncode != 0
        assert sentence in broken.stderr
        assert "Traceback" not in broken.stderr
    keys = [(tmp_path / name / "secret_key") for name in "ab"]
    set_up(tmp_path / "b", "check")
    assert keys[0].read_text() != keys[1].read_text()
    assert [stat.S_IMODE(key.stat().st_mode) for key in keys] == [0o600, 0o600]


# --- nothing secret is kept with the program ----------------------------------------------------

KEY_FILES = re.compile(
    r"(^|/)(secret_key|\.env(\..*)?|id_(rsa|dsa|ecdsa|ed25519)|\.netrc|\.pgpass|\.htpasswd)$"
    r"|\.(pem|key|p12|pfx|jks|sqlite3|sqlite|db|kdbx|ovpn)$"
)
# Written apart, so that this file is not found by its own patterns.
SECRETS = [
    re.compile("-----BEGIN [A-Z ]*" + "PRIVATE KEY-----"),
    re.compile(r"\bAKIA" + r"[0-9A-Z]{16}\b"),
    re.compile(r"\bgh[pousr]_" + r"[A-Za-z0-9]{30,}"),
    re.compile("django-" + r"insecure-[^\s\"'+]{20,}"),
    re.compile(r"\beyJ[A-Za-z0-9_-]{15,}\." + r"eyJ[A-Za-z0-9_-]{15,}"),
    re.compile(
        r"(?i)\b(secret|secret_key|api_key|token|password|passwd)\b[\"']?\s*[:=]\s*"
        r"[\"'](?=[^\"']*[0-9])(?=[^\"']*[A-Za-z])[A-Za-z0-9_+/=-]{32,}[\"']"
    ),
    # A host that is kept for examples (RFC 2606) is nobody's.
    re.compile(
        r"postgres(ql)?://[^\s:{\"'$]+:(?!password@|PASSWORD@)[^\s@{\"'$]{6,}@(?!\w+\.example)"
    ),
]


def kept_files() -> list[Path]:
    """Return every file that goes with the program."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if listed.returncode == 0 and listed.stdout:
        names = [Path(name) for name in listed.stdout.split("\0") if name]
    else:
        names = [path.relative_to(ROOT) for path in ROOT.rglob("*")]
        names = [name for name in names if not any(map(is_passed_over, name.parts[:-1]))]
    return [name for name in names if (ROOT / name).is_file()]


def is_passed_over(part: str) -> bool:
    """Tell whether a folder is of a tool or a set-up, and not of the program."""
    return part in {"var", "__pycache__"} or (part.startswith(".") and part != ".ci")


def secrets_in(text: str) -> list[str]:
    return [pattern.pattern for pattern in SECRETS if pattern.search(text)]


def test_no_key_is_kept_with_the_program() -> None:
    files = kept_files()
    assert len(files) > 300
    assert [str(name) for name in files if KEY_FILES.search(str(name))] == []
    texts = {name: (ROOT / name).read_bytes().decode("utf-8", "ignore") for name in files}
    assert {str(name): found for name, text in texts.items() if (found := secrets_in(text))} == {}


@pytest.mark.parametrize("text", [
    "-----BEGIN RSA " + "PRIVATE KEY-----",
    "AKIA" + "ABCDEFGHIJKLMNOP",
    "ghp_" + "a1" * 20,
    "SECRET_KEY = '" + "a1b2" * 10 + "'",
    '{"token": "' + "Zz09" * 11 + '"}',
    "django-" + "insecure-" + "k" * 40,
    "postgresql://" + "mill:hunter22@db/mill",
])  # fmt: skip
def test_a_key_would_be_found(text: str) -> None:
    assert secrets_in(text)


@pytest.mark.parametrize("name", ["var/secret_key", "deep/id_rsa", ".env", "a.pem", "x.sqlite3"])
def test_a_key_file_would_be_found(name: str) -> None:
    assert KEY_FILES.search(name)


def test_the_list_is_long_enough() -> None:
    # reliability bar, A4: eight broken settings at least.
    assert len(BROKEN) >= 8
