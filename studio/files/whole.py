"""The whole studio as one file: every table as CSV to read and as JSON to bring in again."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import IO, Any

from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from studio.exports import csv_cell
from studio.files import tables
from studio.models import Studio

KIND, VERSION = "halfstuff studio", 1
MANIFEST = "manifest.json"
ABOUT = (
    "A whole studio. The folder csv is for people and spreadsheets; the folder json is what "
    "import_studio reads. Passwords, keys and sessions are not in it."
)
# Told after each table: its name, and how many of how many are written.
Tell = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Written:
    """What a file of a studio holds."""

    rows: dict[str, int]

    @property
    def count(self) -> int:
        """Rows in all."""
        return sum(self.rows.values())


class _Member:
    """One file inside: text goes in, its mark and size are kept."""

    def __init__(self, out: IO[bytes]) -> None:
        self.out = out
        self.mark = hashlib.sha256()
        self.size = 0

    def write(self, text: str) -> None:
        """Add text."""
        content = text.encode()
        self.mark.update(content)
        self.size += len(content)
        self.out.write(content)


def write_studio(file: IO[bytes], *, tell: Tell | None = None) -> Written:
    """Write the studio as it stands at one moment."""
    told: dict[str, dict[str, Any]] = {}
    counts: dict[str, int] = {}
    models = tables.house_models()
    now = timezone.localtime()
    with _one_moment(), zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        sources: list[tuple[str, Sequence[str], Callable[[], Iterable[list[Any]]]]] = [
            (tables.PEOPLE, tables.PERSON_COLUMNS, tables.people),
            *(
                (
                    tables.label_of(model),
                    [field.attname for field in tables.columns_of(model)],
                    lambda model=model: tables.rows_of(model),
                )
                for model in models
            ),
        ]
        for done, (name, columns, rows) in enumerate(sources, start=1):
            for kind, write in (("csv", _as_csv), ("json", _as_json)):
                path = f"{kind}/{name}.{kind}"
                part = zipfile.ZipInfo(path, date_time=now.timetuple()[:6])
                part.compress_type = zipfile.ZIP_DEFLATED
                with packed.open(part, "w", force_zip64=True) as out:
                    member = _Member(out)
                    counts[name] = write(member, columns, rows())
                told[path] = {
                    "rows": counts[name], "bytes": member.size, "sha256": member.mark.hexdigest()
                }  # fmt: skip
            if tell:
                tell(name, done, len(sources))
        packed.writestr(MANIFEST, json.dumps(_manifest(told), ensure_ascii=False, indent=1))
    return Written(counts)


class _one_moment:  # noqa: N801
    """Read every table as it stood at the same moment, whoever writes meanwhile."""

    def __enter__(self) -> None:
        is_outermost = not connection.in_atomic_block
        self.atomic = transaction.atomic()  # noqa: TID251 - only reads
        self.atomic.__enter__()
        if is_outermost and connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")

    def __exit__(self, *fault: Any) -> None:
        self.atomic.__exit__(*fault)


def _as_csv(out: _Member, columns: Sequence[str], rows: Iterable[list[Any]]) -> int:
    line = io.StringIO()
    writer = csv.writer(line)
    count = 0
    writer.writerow(columns)
    for row in rows:
        writer.writerow([csv_cell(tables.cell(value)) for value in row])
        count += 1
        _move(line, out)
    _move(line, out)
    return count


def _move(line: io.StringIO, out: _Member) -> None:
    out.write(line.getvalue())
    line.seek(0)
    line.truncate()


def _as_json(out: _Member, columns: Sequence[str], rows: Iterable[list[Any]]) -> int:
    count = 0
    out.write("[")
    for row in rows:
        told = dict(zip(columns, row, strict=True))
        out.write(f"{',' if count else ''}\n{json.dumps(told, ensure_ascii=False)}")
        count += 1
    out.write("\n]\n")
    return count


def _manifest(files: dict[str, dict[str, Any]]) -> dict[str, Any]:
    return {
        "kind": KIND,
        "version": VERSION,
        "about": ABOUT,
        "studio": Studio.current().name,
        "made_at": timezone.now().isoformat(),
        "migrations": migrations(),
        "left_out": ["passwords", "sessions", *tables.LEFT_OUT.values()],
        "files": files,
    }


def migrations() -> dict[str, list[str]]:
    """Return the changes of the tables that this database has gone through, by app."""
    apps = {model._meta.app_label for model in tables.house_models()}
    found: dict[str, list[str]] = {app: [] for app in sorted(apps)}
    for app, name in sorted(MigrationRecorder(connection).applied_migrations()):
        if app in found:
            found[app].append(name)
    return found
