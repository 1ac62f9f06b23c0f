"""The whole studio as one file, and back: the same balances, and nothing where it is not whole."""

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
from studio.files.whole import MANIFEST, write_studio
from studio.models import AccessToken, Entry, Preference, Studio
from studio.people import keep_own_units
from studio.roles import HAND, OWNER, role_of
from tests.builders import day, make_studio, make_user, signed_in
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


_kept: list[bytes] = []


@pytest.fixture
def kept_file():
    """Return the file of such a studio, made once, with nothing in the database."""
    if not _kept:
        make_user(OWNER, name="ida")
        for name, pattern in routes().items():
            address(name, pattern)
        _kept.append(written())
    flush()
    return _kept[0]


def written() -> bytes:
    file = io.BytesIO()
    write_studio(file)
    return file.getvalue()


def flush():
    """Take every row away, as a new database has none."""
    call_command("flush", interactive=False, verbosity=0)


@pytest.fixture(autouse=True)
def _tables_can_be_emptied(monkeypatch):
    """Take the triggers off for as long as a test empties its tables."""
    real = call_command

    def flushing(name, *args, **options):
        if name != "flush":
            return real(name, *args, **options)
        appendonly.remove()
        try:
            return real(name, *args, **options)
        finally:
            appendonly.install()

    monkeypatch.setattr("tests.orders.test_whole_studio.call_command", flushing)


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


def changed(content: bytes, change) -> bytes:
    """Return a file whose parts were changed."""
    parts = {}
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        for name in packed.namelist():
            parts[name] = packed.read(name)
    change(parts)
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    return file.getvalue()


def resigned(parts) -> None:
    """Put marks and sizes of parts right, as somebody would who changed them on purpose."""
    import hashlib

    told = json.loads(parts[MANIFEST])
    for name, mark in told["files"].items():
        if name in parts:
            mark |= {"sha256": hashlib.sha256(parts[name]).hexdigest(), "bytes": len(parts[name])}
    parts[MANIFEST] = json.dumps(told).encode()


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


# --- refused ----------------------------------------------------------------------------------


def cut(parts):
    parts["json/fibres.lot.json"] = parts["json/fibres.lot.json"][:-9]


def lacking(parts):
    del parts["csv/fibres.lot.csv"]


def more(parts):
    parts["json/auth.user.json"] = b"[]"


def newer(parts):
    told = json.loads(parts[MANIFEST])
    told["migrations"]["orders"].append("0999_later")
    parts[MANIFEST] = json.dumps(told).encode()


def later_version(parts):
    told = json.loads(parts[MANIFEST])
    told["version"] = 2
    parts[MANIFEST] = json.dumps(told).encode()


def no_manifest(parts):
    del parts[MANIFEST]


def climbing(parts):
    told = json.loads(parts[MANIFEST])
    told["files"]["../x.json"] = {"rows": 0, "bytes": 2, "sha256": ""}
    parts[MANIFEST] = json.dumps(told).encode()


def told_otherwise(**values):
    def change(parts):
        parts[MANIFEST] = json.dumps({**json.loads(parts[MANIFEST]), **values}).encode()

    return change


def rows_changed(name, **values):
    def change(parts):
        rows = json.loads(parts[name])
        rows[0] |= values
        parts[name] = json.dumps(rows).encode()
        resigned(parts)

    return change


def lines_changed(name, change_lines):
    def change(parts):
        parts[name] = change_lines(parts[name])
        resigned(parts)

    return change


LOTS, MOVES = "json/fibres.lot.json", "json/fibres.movement.json"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (cut, "json/fibres.lot.json is not as it was written"),
        (lacking, "it lacks parts, or has others"),
        (more, "it lacks parts, or has others"),
        (newer, "made by a newer release"),
        (later_version, "made by a newer release"),
        (no_manifest, "This is no studio"),
        (climbing, "This is no studio"),
        (lines_changed(LOTS, lambda part: b""), "json/fibres.lot.json cannot be read"),
        (lines_changed(LOTS, lambda part: part[:2]), "json/fibres.lot.json cannot be read"),
        (lines_changed(LOTS, lambda part: part[:-2]), "json/fibres.lot.json cannot be read"),
        (lines_changed(LOTS, lambda part: part + b"{}\n"), "json/fibres.lot.json cannot be read"),
        (lines_changed(LOTS, lambda part: b"[\n7\n]\n"), "json/fibres.lot.json"),
        (lines_changed(LOTS, lambda part: b"{}"), "json/fibres.lot.json"),
        (rows_changed(LOTS, oven_dry_mg=1), "does not prove itself"),
        (rows_changed(LOTS, oven_dry_mg=-1), "row 1 of fibres.lot cannot be read"),
        (rows_changed(LOTS, oven_dry_mg="12kg"), "row 1 of fibres.lot cannot be read"),
        (rows_changed(LOTS, moisture="NaN"), "The file is damaged"),
        (rows_changed(LOTS, colour="red"), "row 1 of fibres.lot cannot be read"),
        (rows_changed(LOTS, fibre_id=987654), "its rows do not fit together"),
        (rows_changed(MOVES, entry_id=987654), "its rows do not fit together"),
        (rows_changed(MOVES, oven_dry_mg=5), "does not prove itself"),
        (rows_changed("json/people.json", id="x"), "The file is damaged"),
        (told_otherwise(version=float("inf")), "This is no studio"),
        (told_otherwise(migrations={"studio": 5}), "This is no studio"),
        (rows_changed(LOTS, fibre_id=10**30), "row 1 of fibres.lot cannot be read"),
        (rows_changed(LOTS, paid_minor=2**63), "row 1 of fibres.lot cannot be read"),
        (rows_changed(LOTS, place="a\0b"), "row 1 of fibres.lot cannot be read"),
        (rows_changed(LOTS, place="\ud800"), "row 1 of fibres.lot cannot be read"),
        (rows_changed(LOTS, measured="by ear"), "row 1 of fibres.lot cannot be read"),
        (rows_changed("json/people.json", first_name="a\0b"), "row 1 of people cannot be read"),
    ],
)
def test_file_that_is_not_whole_enters_nothing(kept_file, change, said):
    with pytest.raises(StudioError) as refusal:
        whole.bring_in(io.BytesIO(changed(kept_file, change)))
    assert said in str(refusal.value)
    assert not any(model._base_manager.exists() for model in tables.house_models())
    assert not get_user_model().objects.exists()


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"no zip", b"PK\x05\x06" + bytes(18)])
def test_other_files_are_no_studio(content, db):
    with pytest.raises(StudioError, match="This is no studio"):
        whole.bring_in(io.BytesIO(content))


def test_studio_in_use_takes_none_in(studio):
    with pytest.raises(StudioError, match="This studio is in use"):
        whole.bring_in(io.BytesIO(studio))
    with pytest.raises(StudioError, match="in use"):
        wholein.refuse_unless_empty((Fibre,))


def without_seals(parts) -> None:
    """Take the seals out, as a release before them left them out."""
    told = json.loads(parts[MANIFEST])
    for name in ("json/fibres.seal.json", "csv/fibres.seal.csv"):
        del parts[name], told["files"][name]
    parts[MANIFEST] = json.dumps(told).encode()


def test_a_file_from_before_the_seals_is_sealed_on_its_way_in(kept_file):
    whole.bring_in(io.BytesIO(kept_file))
    sealed = audit()
    flush()
    whole.bring_in(io.BytesIO(changed(kept_file, without_seals)))
    assert sealed.sealed == Movement.objects.count() > 0
    assert audit().as_json() == sealed.as_json()


def test_a_movement_that_was_changed_in_the_file_does_not_prove_itself(kept_file):
    broken = changed(kept_file, rows_changed("json/fibres.movement.json", why="Never said"))
    with pytest.raises(StudioError, match="is not what was sealed"):
        whole.bring_in(io.BytesIO(broken))
    assert not Lot.objects.exists()


def test_faults_come_along_only_on_the_word(kept_file):
    broken = changed(kept_file, rows_changed(LOTS, oven_dry_mg=1))
    whole.bring_in(io.BytesIO(broken), accept_faults=True)
    assert any("by its balance" in fault.fault for fault in audit().faults)


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
