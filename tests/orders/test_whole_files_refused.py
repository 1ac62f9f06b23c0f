"""The file of a whole studio that is not whole, not ours or of an older release."""

import io
import json

import pytest
from django.contrib.auth import get_user_model

from fibres.models import Lot, Movement
from orders import whole
from orders.audit import audit
from studio.errors import StudioError
from studio.files import tables
from studio.files.whole import MANIFEST
from tests.orders.wholes import changed, flush, resigned

pytestmark = pytest.mark.django_db(transaction=True)


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
