"""A whole studio brought in to an empty one: checked first, then all of it or nothing."""

from __future__ import annotations

import hashlib
import io
import json
import re
import uuid
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import IO, Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models

from studio import people
from studio.entries import acting, enter
from studio.errors import StudioError
from studio.files import limits, tables, whole
from studio.models import Counter, Entry, Preference, Studio
from studio.roles import OWNER, ROLES

MOST_UNPACKED = 1_000_000_000
MOST_RATIO = 300
MOST_FILES = 400
MOST_MANIFEST = 1_000_000
AT_A_TIME = 1 << 16
ROWS_AT_A_TIME = 500
NO_STUDIO = "This is no studio taken out with export_studio."
BROKEN = "The file is damaged: {what}. Nothing was entered; use another copy of it."
NAME = re.compile(r"(?:csv/[a-z0-9_.]+\.csv|json/[a-z0-9_.]+\.json)")
# What a manifest can raise that is none of ours.
UNREADABLE = (
    ValueError, KeyError, TypeError, AttributeError, ArithmeticError, RecursionError,
)  # fmt: skip
# What opening a studio enters by itself, and what only says how somebody reads its pages.
OF_NO_WEIGHT = ("open studio", "changed own units", "put away first steps")


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """What came in, and who has no password yet."""

    studio: str
    rows: dict[str, int]
    without_password: tuple[str, ...]

    @property
    def count(self) -> int:
        """Rows in all."""
        return sum(self.rows.values())


@dataclass(slots=True)
class _Keys:
    """Keys that are given anew: of people by name, of entries behind those that are there."""

    people: dict[int, int] = field(default_factory=dict)
    entries_from: int = 0
    # Keys of requests that were entered here before the studio came.
    requests: frozenset[uuid.UUID] = frozenset()

    def of(self, target: type[models.Model] | None, key: Any) -> Any:
        """Return the key that a row has here."""
        if key is None or target is None:
            return key
        return key + self.entries_from if target is Entry else self.people[key]


def bring_in(
    file: IO[bytes],
    *,
    by: Any = None,
    made_by_opening: Sequence[type[models.Model]] = (),
    prove: Callable[[], Iterable[str]] = tuple,
    tell: whole.Tell | None = None,
) -> BroughtIn:
    """Bring a studio in; ``prove`` yields what is wrong with it once all of it is there.

    ``made_by_opening`` are tables that an opened studio has rows in by itself; they give way.
    """
    with _readable(), zipfile.ZipFile(file) as packed:
        manifest = check(packed)
        with acting():
            refuse_unless_empty(made_by_opening)
            found = _bring_in(packed, manifest, made_by_opening, tell)
            _refuse_faulty(prove)
            enter(
                "bring in studio",
                f"Brought in {found.studio}, {found.count} rows",
                page="/",
                key=None,
                by=by,
            )
    return found


@contextmanager
def _readable() -> Any:
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as fault:
        raise StudioError(NO_STUDIO, field="file") from fault
    except DatabaseError as fault:
        raise StudioError(
            BROKEN.format(what=f"its rows do not fit together ({str(fault)[:120]})"), field="file"
        ) from fault


# --- before anything is written -----------------------------------------------------------------


def check(packed: zipfile.ZipFile) -> dict[str, Any]:
    """Return the manifest of a file in which every part is as it was written."""
    parts = {part.filename: part for part in packed.infolist()}
    if len(parts) != len(packed.infolist()) or len(parts) > MOST_FILES:
        raise StudioError(NO_STUDIO, field="file")
    manifest = _manifest(packed, parts)
    files = manifest["files"]
    if set(parts) != {whole.MANIFEST, *files}:
        raise StudioError(BROKEN.format(what="it lacks parts, or has others"), field="file")
    packed_size = sum(part.compress_size for part in parts.values())
    unpacked = sum(part.file_size for part in parts.values())
    if unpacked > min(MOST_UNPACKED, MOST_RATIO * max(packed_size, 1_000_000)):
        raise StudioError(
            f"The file is too large once unpacked: {limits.megabytes(unpacked)}.", field="file"
        )
    for name, told in files.items():
        _check_part(packed, name, told)
    return manifest


def _manifest(packed: zipfile.ZipFile, parts: dict[str, zipfile.ZipInfo]) -> dict[str, Any]:
    part = parts.get(whole.MANIFEST)
    if part is None or part.file_size > MOST_MANIFEST:
        raise StudioError(NO_STUDIO, field="file")
    try:
        told: dict[str, Any] = json.loads(packed.read(part))
        is_ours = told["kind"] == whole.KIND and all(map(NAME.fullmatch, told["files"]))
        version, here = int(told["version"]), whole.migrations()
        newer = [
            name
            for app, names in dict(told["migrations"]).items()
            for name in names
            if name not in here.get(app, ())
        ]
    except UNREADABLE as fault:
        raise StudioError(NO_STUDIO, field="file") from fault
    if not is_ours:
        raise StudioError(NO_STUDIO, field="file")
    if version != whole.VERSION or newer:
        raise StudioError(
            "The file was made by a newer release. Bring this program up to date first.",
            field="file",
        )
    return told


def _check_part(packed: zipfile.ZipFile, name: str, told: Any) -> None:
    mark, size = hashlib.sha256(), 0
    try:
        with packed.open(name) as opened:
            while piece := opened.read(AT_A_TIME):
                mark.update(piece)
                size += len(piece)
        fits = (mark.hexdigest(), size) == (told["sha256"], told["bytes"])
    except (zipfile.BadZipFile, zlib.error, KeyError, TypeError, OSError, RuntimeError) as fault:
        raise StudioError(BROKEN.format(what=f"{name} cannot be read"), field="file") from fault
    if not fits:
        raise StudioError(BROKEN.format(what=f"{name} is not as it was written"), field="file")


def refuse_unless_empty(made_by_opening: Sequence[type[models.Model]] = ()) -> None:
    """Refuse where anybody has entered anything."""
    free = {Studio, Entry, Preference, *made_by_opening}
    held = [
        str(model._meta.verbose_name_plural)
        for model in tables.house_models()
        if model not in free and model._base_manager.exists()
    ]
    # Numbers are counted on beside other rows only, and say nothing to a person.
    held = [name for name in held if name != Counter._meta.verbose_name_plural] or held
    if held or Entry.objects.exclude(act__in=OF_NO_WEIGHT).exists():
        what = f" There are {', '.join(held[:4])}." if held else ""
        raise StudioError(
            f"This studio is in use.{what} A whole studio comes in to an empty one only: set "
            "HALFSTUFF_DATA to a new folder and begin there.",
            field="file",
        )


# --- rows ---------------------------------------------------------------------------------------


def _bring_in(
    packed: zipfile.ZipFile,
    manifest: dict[str, Any],
    made_by_opening: Sequence[type[models.Model]],
    tell: whole.Tell | None,
) -> BroughtIn:
    for model in (Studio, Preference, *made_by_opening):
        model._base_manager.all().delete()
    people.make_roles()
    there = Entry.objects.values_list("pk", "request_key")
    keys = _Keys(
        entries_from=max((pk for pk, _ in there), default=0),
        requests=frozenset(request for _, request in there),
    )
    without = _people(_read(packed, manifest, tables.PEOPLE), keys)
    rows = {}
    every = {tables.label_of(model): model for model in tables.house_models()}
    told = [name.removeprefix("json/").removesuffix(".json") for name in manifest["files"]
            if name.startswith("json/")]  # fmt: skip
    unknown = sorted(set(told) - {*every, tables.PEOPLE})
    if unknown:
        raise StudioError(BROKEN.format(what=f"there is no table {unknown[0]}"), field="file")
    for done, (label, model) in enumerate(every.items(), start=1):
        rows[label] = _rows(model, _read(packed, manifest, label), keys)
        if tell:
            tell(label, done, len(every))
    _settle(list(every.values()))
    return BroughtIn(Studio.current().name, rows, tuple(without))


def _read(
    packed: zipfile.ZipFile, manifest: dict[str, Any], name: str
) -> Iterator[dict[str, Any]]:
    """Yield the rows of a table; one that an older release did not have is empty.

    Each row stands on a line of its own, so that no more than one is held at a time.
    """
    path = f"json/{name}.json"
    if path not in manifest["files"]:
        return
    try:
        with packed.open(path) as opened:
            lines = io.TextIOWrapper(opened, encoding="utf-8", newline="\n")
            for row in _json_rows(lines):
                if not isinstance(row, dict):
                    raise StudioError(BROKEN.format(what=f"{path} holds no rows"), field="file")
                yield row
    except (ValueError, RecursionError) as fault:
        raise StudioError(BROKEN.format(what=f"{path} cannot be read"), field="file") from fault


def _json_rows(lines: Iterable[str]) -> Iterator[Any]:
    """Yield the rows of a list as this program writes it, or of one that is written otherwise."""
    place = iter(lines)
    first = next(place, "")
    if first != "[\n":
        rows = json.loads(first + "".join(place))
        yield from rows if isinstance(rows, list) else [None]
        return
    is_last, line = False, ""
    for line in place:
        if line == "]\n" or is_last:
            break
        row = line.rstrip("\n")
        is_last = not row.endswith(",")
        if row:
            yield json.loads(row.removesuffix(","))
    if line != "]\n" or next(place, ""):
        message = "the list is not closed"
        raise ValueError(message)


def _people(rows: Iterable[dict[str, Any]], keys: _Keys) -> list[str]:
    """Enter people without a password; one of a name that is here stays as it is."""
    without = []
    model = get_user_model()
    for number, told in enumerate(rows, start=1):
        try:
            name, role = str(told["username"]), told["role"]
            person = model.objects.filter(username=name).first()
            if person is None:
                person = model(
                    **{
                        key: tables.read(model._meta.get_field(key), told[key])
                        for key in tables.PERSON_COLUMNS[1:-1]
                    }
                )
                person.is_superuser = role == OWNER
                person.set_unusable_password()
                # Names of the command line may hold what a form would not take.
                person.clean_fields(exclude=["password", "username"])
                person.save()
                person.groups.set(Group.objects.filter(name=role) if role in ROLES else [])
                without.append(name)
            keys.people[_number(told["id"])] = person.pk
        except (KeyError, TypeError, ValueError, ValidationError) as fault:
            raise _damaged(tables.PEOPLE, number, fault) from fault
    return without


def _number(key: Any) -> int:
    if not isinstance(key, int):
        message = f"{key!r} is no key"
        raise TypeError(message)
    return key


def _rows(model: type[models.Model], rows: Iterable[dict[str, Any]], keys: _Keys) -> int:
    """Write the rows of a table as they were, whatever a model would fill in by itself."""
    fields = {field.attname: field for field in tables.columns_of(model)}
    made: list[models.Model] = []
    number = 0
    for number, told in enumerate(rows, start=1):
        try:
            values = {
                name: keys.of(tables.points_at(fields[name]), tables.read(fields[name], value))
                for name, value in told.items()
            }
            row = model(**values)
            if isinstance(row, Entry):
                _number_anew(row, keys)
            row.clean_fields(exclude=_unjudged(row))
        except (KeyError, TypeError, ValueError, ArithmeticError, ValidationError) as fault:
            raise _damaged(tables.label_of(model), number, fault) from fault
        made.append(row)
        if len(made) == ROWS_AT_A_TIME:
            _write(model, made)
            made = []
    _write(model, made)
    return number


def _number_anew(entry: Entry, keys: _Keys) -> None:
    """Put an entry behind those that are here.

    An act that a studio knows once, by a key of its own, may have been done in both: the one that
    came keeps its words and gets another key. No movement hangs on it, whose seal has the key.
    """
    entry.pk += keys.entries_from
    if entry.request_key in keys.requests:
        entry.request_key = uuid.uuid4()


def _write(model: type[models.Model], made: list[models.Model]) -> None:
    if any(getattr(one, "auto_now_add", False) for one in tables.columns_of(model)):
        for row in made:
            # A moment that the model would fill in by itself is kept as it was.
            row.save_base(raw=True, force_insert=True)
    else:
        model._base_manager.bulk_create(made)


def _unjudged(row: models.Model) -> set[str]:
    """Return the columns that are judged together at the end: what they point at may come later.

    Text that is kept empty is no fault either, whatever a form would ask for.
    """
    return {
        field.name
        for field in row._meta.concrete_fields
        if field.is_relation
        or field.empty_strings_allowed
        or (field.null and getattr(row, field.attname) is None)
    }


def _settle(every: list[type[models.Model]]) -> None:
    """See that every key points at a row, and that the next rows get keys behind these."""
    connection.check_constraints()
    for statement in connection.ops.sequence_reset_sql(no_style(), every):
        with connection.cursor() as cursor:
            cursor.execute(statement)


def _refuse_faulty(prove: Callable[[], Iterable[str]]) -> None:
    faults = list(prove())
    if faults:
        more = f" and {len(faults) - 3} more" if len(faults) > 3 else ""
        raise StudioError(
            f"The studio in the file does not prove itself, so nothing was entered: "
            f"{'; '.join(faults[:3])}{more}. Use a copy from before that fault.",
            field="file",
        )


def _damaged(table: str, number: int, fault: Exception) -> StudioError:
    said = " ".join(fault.messages) if isinstance(fault, ValidationError) else str(fault)
    return StudioError(
        BROKEN.format(what=f"row {number} of {table} cannot be read ({said[:120]})"), field="file"
    )
