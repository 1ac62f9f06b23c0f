"""What a person is told when the database takes no entry, and that nothing typed is lost."""

from __future__ import annotations

import logging
import sqlite3

import pytest
from django import forms
from django.conf import settings
from django.db import (
    DatabaseError,
    InternalError,
    OperationalError,
    ProgrammingError,
)
from django.test import Client
from django.urls import reverse

from studio import outages
from studio.logs import WithoutTraceOfRefusals
from studio.models import Mould
from studio.roles import OWNER
from tests.builders import make_studio, make_user
from tests.studio.pages import Page

# As the libraries word it: SQLite by its result codes, PostgreSQL by its server's messages; from
# memory, and met again as they come in tests/faults.
SAID = [
    (OperationalError("database or disk is full"), outages.FULL, 507),
    (OperationalError("could not extend file: No space left on device"), outages.FULL, 507),
    (OperationalError("attempt to write a readonly database"), outages.READ_ONLY, 503),
    (
        InternalError("cannot execute INSERT in a read-only transaction"),
        outages.READ_ONLY,
        503,
    ),
    (OperationalError("unable to open database file"), outages.AWAY, 503),
    (OperationalError("disk I/O error"), outages.AWAY, 503),
    (OperationalError("connection failed: Connection refused"), outages.AWAY, 503),
    (DatabaseError("database disk image is malformed"), outages.AWAY, 503),
    (OSError(28, "No space left on device"), outages.FULL, 507),
    (OSError(30, "Read-only file system"), outages.READ_ONLY, 503),
    (OperationalError("database is locked"), outages.BUSY, 503),
    (OperationalError("deadlock detected"), outages.BUSY, 503),
]


@pytest.mark.parametrize(("fault", "kind", "status"), SAID, ids=lambda it: str(it)[:30])
def test_what_a_database_says_is_told_apart(fault, kind, status):
    assert outages.is_outage(fault)
    assert outages.outage_of(fault).kind == kind
    assert outages.outage_of(fault).status == status


def test_no_room_for_the_memory_of_a_log_ahead_is_a_full_disk():
    # The name is SQLite's own, for a result code that is in words a "disk I/O error".
    for name, kind in (
        ("SQLITE_IOERR_SHMSIZE", outages.FULL),
        ("SQLITE_IOERR_READ", outages.AWAY),
    ):
        below = sqlite3.OperationalError("disk I/O error")
        below.sqlite_errorname = name
        fault = OperationalError("disk I/O error")
        fault.__cause__ = below
        assert outages.outage_of(fault).kind == kind


def test_what_postgresql_says_in_several_lines_is_told_in_one():
    said = "connection failed: Connection refused\n\tIs the server running on that host?\n"
    assert outages.in_one_line(OperationalError(said)) == "connection failed: Connection refused"
    assert outages.in_one_line(OperationalError()) == "OperationalError"


@pytest.mark.parametrize(
    "fault",
    [
        None,
        ValueError("disk is full"),
        OSError(2, "No such file or directory"),
        ProgrammingError("syntax error"),
        OperationalError("no such table: fibres_lot"),
        InternalError("current transaction is aborted"),
    ],
    ids=str,
)
def test_a_fault_of_the_program_is_no_outage(fault):
    assert not outages.is_outage(fault)


def test_sentence_of_a_busy_database_stays_the_pages_own():
    busy = "Not moved: busy. Take the step once more."
    assert outages.sentence(OperationalError("database is locked"), busy) == busy
    full = outages.sentence(OperationalError("database or disk is full"), busy, below=True)
    assert full.startswith("Not moved: the disk of the studio’s machine is full. What you typed")


# --- pages ---------------------------------------------------------------------------------------


FULL = OperationalError("database or disk is full")
MOULD = {"name": "Laid <b>A4", "size": "210 x 297 mm", "remarks": ""}


def fail_with(monkeypatch, where, fault):
    def fail(*args, **kwargs):
        raise fault

    monkeypatch.setattr(where, fail)


def post_mould(client):
    client.raise_request_exception = False
    shown = client.get(reverse("mould_new"))
    key = str(shown.context["form"]["request_key"].value())
    return client.post(reverse("mould_new"), {**MOULD, "request_key": key}), key


@pytest.mark.django_db
def test_form_comes_back_full_where_the_disk_is(owner_client, monkeypatch):
    make_studio()
    fail_with(monkeypatch, "studio.models.Mould.save", FULL)
    answer, _ = post_mould(owner_client)
    text = answer.content.decode()
    assert answer.status_code == 507
    assert "Not saved: the disk of the studio’s machine is full. What you typed is below." in text
    [name] = Page(text).all("input", name="name")
    assert name.attrs["value"] == MOULD["name"]


@pytest.mark.django_db
def test_what_reaches_no_page_can_be_sent_once_more_as_it_was(owner_client, monkeypatch):
    make_studio()
    with monkeypatch.context() as patched:
        # Beyond what the page catches: the form cannot even be made.
        fail_with(patched, "studio.pages.rows.RowPage.get_form_kwargs", FULL)
        owner_client.cookies["csrftoken"] = "a" * 32
        owner_client.raise_request_exception = False
        key = "6b1f5c1e-8f0e-4f9e-9d53-0c8f4f1f7a11"
        answer = owner_client.post(reverse("mould_new"), {**MOULD, "request_key": key})
    page = Page(answer.content.decode())
    assert answer.status_code == 507
    assert page.misnested == []
    assert [found.text for found in page.all("dd")] == [MOULD["name"], MOULD["size"]]
    [form] = page.all("form")
    assert form.attrs["action"] == reverse("mould_new")
    again = {found.attrs["name"]: found.attrs["value"] for found in page.all("input")}
    assert again.pop("csrfmiddlewaretoken")
    assert owner_client.post(form.attrs["action"], again).status_code == 302
    assert Mould.objects.get().name == MOULD["name"]


@pytest.mark.django_db
@pytest.mark.parametrize("sent", [{"request_key": "6b1f5c1e-8f0e-4f9e-9d53-0c8f4f1f7a11"}, {}])
def test_what_a_lost_server_may_have_saved_is_sent_again_by_its_key(
    owner_client, monkeypatch, sent
):
    make_studio()
    lost = OperationalError("server closed the connection unexpectedly")
    fail_with(monkeypatch, "studio.pages.rows.RowPage.get_form_kwargs", lost)
    owner_client.cookies["csrftoken"] = "a" * 32
    owner_client.raise_request_exception = False
    answer = owner_client.post(reverse("mould_new"), {**MOULD, **sent})
    assert answer.status_code == 503
    page = Page(answer.content.decode())
    assert page.one("h1").text == ("Perhaps not saved" if sent else "Not saved")
    assert ("it is not entered twice" in answer.content.decode()) == bool(sent)


@pytest.mark.django_db
def test_a_password_is_neither_shown_nor_kept_for_sending_again(client, monkeypatch):
    make_studio()
    make_user(OWNER)
    fail_with(monkeypatch, "studio.forms.LogInForm.clean", FULL)
    client.cookies["csrftoken"] = "a" * 32
    client.raise_request_exception = False
    given = {"username": "ida", "password": "a vat of abaca 77"}
    text = client.post(reverse("log_in"), given).content.decode()
    assert "abaca" not in text
    assert Page(text).all("form") == []
    assert "ida" in text


@pytest.mark.django_db
def test_own_password_is_not_shown_where_the_disk_is_full(owner_client, monkeypatch):
    fail_with(monkeypatch, "studio.ownforms.OwnPasswordForm.clean", FULL)
    owner_client.raise_request_exception = False
    given = {"old": "weld and flax 11", "password": "kozo bark 22", "again": "kozo bark 22"}
    answer = owner_client.post(reverse("you_password"), given)
    text = answer.content.decode()
    assert answer.status_code == 507
    assert "weld" not in text
    assert "kozo" not in text
    assert "type it again: passwords are not kept" in text


def test_every_field_for_a_password_is_known_as_one():
    found = {
        name
        for form in _forms(forms.BaseForm)
        for name, field in getattr(form, "base_fields", {}).items()
        if isinstance(field.widget, forms.PasswordInput)
    }
    assert {"old", "again", "password"} <= found
    assert [name for name in sorted(found) if not outages.is_secret(name)] == []


def _forms(kind):
    for one in kind.__subclasses__():
        yield one
        yield from _forms(one)


@pytest.mark.django_db
def test_what_another_site_sent_cannot_be_sent_on_from_here(monkeypatch):
    make_studio()
    fail_with(monkeypatch, "studio.middleware.OwnUnits.__call__", FULL)
    stranger = Client(enforce_csrf_checks=True, raise_request_exception=False)
    stranger.cookies["csrftoken"] = "a" * 32
    make_user(OWNER)
    sent = {"username": "mallory", "role": "owner"}
    answer = stranger.post(reverse("person_new"), sent, headers={"origin": "http://elsewhere"})
    assert answer.status_code == 507
    assert Page(answer.content.decode()).all("form") == []


@pytest.mark.django_db
def test_page_that_cannot_be_read_says_so_without_a_trace(owner_client, monkeypatch, caplog):
    make_studio()
    fault = OperationalError("unable to open database file")
    fail_with(monkeypatch, "studio.views.MouldList.get", fault)
    owner_client.raise_request_exception = False
    answer = owner_client.get(reverse("moulds"))
    text = answer.content.decode()
    assert answer.status_code == 503
    assert "the studio’s database cannot be reached" in text
    for secret in ("Traceback", "OperationalError", "SELECT", str(settings.BASE_DIR)):
        assert secret not in text


@pytest.mark.django_db
def test_other_programs_are_told_in_their_own_way(client, monkeypatch):
    fail_with(monkeypatch, "studio.tokens.found_by", FULL)
    client.raise_request_exception = False
    answer = client.get("/api/store/", headers={"authorization": "Bearer x"})
    assert answer.status_code == 503
    assert answer.json()["error"].startswith("No answer now: the disk of the studio")


def record_of(fault):
    told = (type(fault), fault, None)
    return logging.LogRecord("django.request", logging.ERROR, "", 0, "Oh: %s", ("/",), told)


def test_log_says_an_outage_in_one_line_and_a_fault_of_the_program_with_its_trace():
    full, wrong = record_of(FULL), record_of(ValueError("no"))
    for record in (full, wrong):
        assert WithoutTraceOfRefusals().filter(record)
    assert full.exc_info is None
    assert full.getMessage() == "Oh: /: database or disk is full"
    assert wrong.exc_info
