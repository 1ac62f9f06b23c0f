"""The whole studio as one file, and back: the same rows and answers."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command

from fibres.models import Fibre, Lot, Movement
from orders import firststeps, sheetsinhand, whole
from orders.audit import audit
from orders.models import SheetMovement
from orders.services import cover
from studio import appendonly
from studio.errors import StudioError
from studio.files import tables, wholein
from studio.files.whole import MANIFEST
from studio.models import AccessToken, Entry, Preference, Studio
from studio.people import keep_own_units
from studio.roles import HAND, OWNER, role_of
from tests.builders import day, make_studio, make_user, signed_in
from tests.orders.wholes import flush, written
from tests.roles.samples import address, routes
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db(transaction=True)
PASSWORD = "a vat of abaca 77"


@pytest.fixture
def studio():
    """Return the file of a studio with rows in every table that a page can show."""
    make_studio(name="Tarn Vat")
    owner = make_user(OWNER, name="ida", password=PASSWORD)
    make_user(HAND, name="odo", password=PASSWORD)
    AccessToken.objects.create(user=owner, name="wall", digest="d1" * 32)
    for name, pattern in routes().items():
        address(name, pattern)
    return written()


def answers():
    """Return what the studio answers: balances, sheets in hand, cover, audit."""
    found = audit()
    return {
        "lots": list(Lot.objects.order_by("pk").values_list("ref", "oven_dry_mg")),
        "movements": list(Movement.objects.order_by("pk").values_list("pk", "lot__ref",
                                                                      "oven_dry_mg", "reverses")),
        "hand": [(one.ref, one.good_in_hand, one.retree_in_hand)
                 for one in sheetsinhand.in_hand()],
        "cover": cover(day()).as_json(),
        "audit": found.as_json(),
    }  # fmt: skip


def rows_by_table():
    """Return every row by its table, with people by their name: they are numbered anew."""
    return {tables.label_of(model): list(named_rows(model)) for model in tables.house_models()}


def named_rows(model):
    person = get_user_model()
    names = dict(person.objects.values_list("pk", "username"))
    fields = tables.columns_of(model)
    for row in tables.rows_of(model):
        yield [
            names.get(value) if field.related_model is person else value
            for field, value in zip(fields, row, strict=True)
        ]


# --- there and back ---------------------------------------------------------------------------


def test_a_studio_is_the_same_after_the_way_out_and_in(studio):
    before, kept = answers(), rows_by_table()
    assert before["lots"]
    assert before["hand"]
    assert before["cover"]["commissions"]
    flush()
    whole.bring_in(io.BytesIO(studio))
    assert answers() == before
    now = rows_by_table()
    # The act of bringing it in is entered behind all others.
    assert [row[1:] for row in now["studio.entry"][:-1]] == [
        row[1:] for row in kept["studio.entry"]
    ]
    assert Entry.objects.last().act == "bring in studio"
    for name in now:
        if name not in {"studio.entry"}:
            assert now[name] == kept[name], name


def test_a_part_is_read_and_written_a_few_rows_at_a_time(kept_file, monkeypatch):
    longest = 0

    def read(text, loads=json.loads):
        nonlocal longest
        longest = max(longest, len(text))
        return loads(text)

    monkeypatch.setattr(wholein, "ROWS_AT_A_TIME", 2)
    monkeypatch.setattr(wholein.json, "loads", read)
    with zipfile.ZipFile(io.BytesIO(kept_file)) as packed:
        manifest = wholein.check(packed)
        longest = 0
        rows = list(wholein._read(packed, manifest, "studio.entry"))
        size = packed.getinfo("json/studio.entry.json").file_size
    assert len(rows) == manifest["files"]["json/studio.entry.json"]["rows"] > 5
    assert longest < size / 2
    brought = whole.bring_in(io.BytesIO(kept_file))
    assert brought.rows["studio.entry"] == len(rows)
    # What came, and the entry of its coming.
    assert Entry.objects.count() == len(rows) + 1


def test_rows_that_only_grow_are_guarded_afterwards(studio):
    flush()
    whole.bring_in(io.BytesIO(studio))
    assert appendonly.missing() == []
    from django.db import DatabaseError, connection, transaction

    for model in (Movement, Entry, SheetMovement):
        for act in (
            f"UPDATE {model._meta.db_table} SET id = id",
            f"DELETE FROM {model._meta.db_table}",
        ):
            with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(act)


def test_next_rows_stand_behind_those_that_came(studio):
    from tests.builders import make_lot

    refs = set(Lot.objects.values_list("ref", flat=True))
    most = Lot.objects.order_by("-pk").values_list("pk", flat=True)[0]
    flush()
    whole.bring_in(io.BytesIO(studio))
    lot = make_lot()
    assert lot.pk > most
    assert lot.ref not in refs


def test_people_come_with_their_roles_and_without_passwords(studio):
    flush()
    found = whole.bring_in(io.BytesIO(studio))
    assert {"ida", "odo"} <= set(found.without_password)
    people = get_user_model().objects
    assert (role_of(people.get(username="ida")), role_of(people.get(username="odo"))) == (
        OWNER, HAND,
    )  # fmt: skip
    assert not any(person.has_usable_password() for person in people.all())


def test_no_secret_is_in_the_file(studio):
    with zipfile.ZipFile(io.BytesIO(studio)) as packed:
        text = b"".join(packed.read(name) for name in packed.namelist())
    for person in get_user_model().objects.all():
        if person.password:
            assert person.password.encode() not in text
    assert b"d1" * 32 not in text
    assert settings.SECRET_KEY.encode() not in text
    assert b"session" not in text.replace(b'"sessions"', b"").replace(b"sessions are not", b"")


def test_every_table_of_the_house_is_in_the_file_or_left_out_on_purpose(studio):
    ours = {"studio", "fibres", "orders"}
    wanted = {
        model._meta.label_lower
        for model in apps.get_models(include_auto_created=True)
        if model._meta.app_label in ours
    }
    with zipfile.ZipFile(io.BytesIO(studio)) as packed:
        told = json.loads(packed.read(MANIFEST))
        names = set(packed.namelist())
    assert wanted - {"studio.accesstoken"} == {
        name[5:-5] for name in told["files"] if name.startswith("json/")
    } - {tables.PEOPLE}  # fmt: skip
    assert names == {MANIFEST, *told["files"]}
    assert told["files"]["json/fibres.lot.json"]["rows"] == Lot.objects.count()


def test_an_opened_studio_takes_one_in_and_keeps_its_owner(studio):
    before = answers()
    flush()
    client = signed_in_by_first_run()
    page = client.get("/studio/data/whole/").content.decode()
    assert "To an empty studio only" in page
    response = send(client, studio)
    assert response.status_code == 302
    told = Page(client.get("/studio/data/whole/").content.decode())
    assert "Without a password so far: " in told.all("main")[0].text
    owner = get_user_model().objects.get(username="keeper")
    assert owner.check_password(PASSWORD)
    after = answers()
    assert after == before
    assert Entry.objects.order_by("pk").first().act == "open studio"
    again = send(client, studio)
    assert "This studio is in use." in again.content.decode()


def test_units_that_somebody_chose_for_the_pages_leave_a_studio_empty(studio):
    flush()
    client = signed_in_by_first_run()
    keep_own_units(get_user_model().objects.get(username="keeper"), "US")
    assert send(client, studio).status_code == 302
    assert "keeper" not in Preference.objects.values_list("user__username", flat=True)


def test_a_studio_whose_first_steps_were_put_away_is_empty_still(studio):
    flush()
    client = signed_in_by_first_run()
    assert client.post("/first-steps/away/").status_code == 302
    assert Entry.objects.filter(request_key=firststeps.AWAY).exists()
    assert send(client, studio).status_code == 302
    assert Lot.objects.exists()


def test_first_steps_put_away_in_both_studios_stay_so(studio):
    firststeps.put_away(get_user_model().objects.get(username="ida"))
    file = written()
    flush()
    client = signed_in_by_first_run()
    firststeps.put_away(get_user_model().objects.get(username="keeper"))
    assert send(client, file).status_code == 302
    away = Entry.objects.filter(act="put away first steps")
    assert [entry.by.username for entry in away] == ["keeper", "ida"]
    assert [entry.request_key == firststeps.AWAY for entry in away] == [True, False]
    assert audit().faults == []


def signed_in_by_first_run():
    from django.test import Client

    client = Client()
    page = Page(client.get("/first-run/").content.decode())
    key = page.all("input", name="request_key")[0].attrs["value"]
    client.post(
        "/first-run/",
        {"studio_name": "New", "user_name": "keeper", "password": PASSWORD,
         "password_again": PASSWORD, "request_key": key},
    )  # fmt: skip
    assert Fibre.objects.exists()
    return client


def send(client, content):
    from django.core.files.uploadedfile import SimpleUploadedFile

    page = Page(client.get("/studio/data/whole/").content.decode())
    keys = page.all("input", name="request_key")
    key = keys[0].attrs["value"] if keys else "00000000-0000-4000-8000-000000000000"
    file = SimpleUploadedFile("studio.zip", content)
    return client.post("/studio/data/whole/", {"request_key": key, "file": file})


def test_page_hands_the_studio_out(studio):
    client = signed_in(make_user(OWNER))
    assert client.get("/studio/data/whole/out/").status_code == 302
    response = client.post("/studio/data/whole/out/")
    content = b"".join(response.streaming_content)
    assert response["Content-Disposition"].startswith('attachment; filename="halfstuff-studio-')
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        assert packed.testzip() is None
        assert MANIFEST in packed.namelist()


def test_studio_in_use_takes_none_in(studio):
    with pytest.raises(StudioError, match="This studio is in use"):
        whole.bring_in(io.BytesIO(studio))
    with pytest.raises(StudioError, match="in use"):
        wholein.refuse_unless_empty((Fibre,))


def test_commands_write_and_read_the_same_file(studio, tmp_path, capsys):
    path = tmp_path / "studio.zip"
    call_command("export_studio", str(path))
    assert "tables" in capsys.readouterr().out
    before = answers()
    flush()
    call_command("import_studio", str(path))
    said = capsys.readouterr().out
    assert "Nothing is missing." in said
    assert "No password yet: " in said
    assert answers() == before
    with pytest.raises(CommandError, match="This studio is in use"):
        call_command("import_studio", str(path))
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("import_studio", str(tmp_path / "none.zip"))
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("export_studio", str(tmp_path / "none" / "studio.zip"))
    assert Studio.objects.get().name == "Tarn Vat"
