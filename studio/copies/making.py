"""Make a copy of the studio's database while it is in use, prove it, and keep the right ones."""

from __future__ import annotations

import os
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connections
from django.utils import timezone

from studio.copies import dumping, inuse, naming, room, sqlitefile
from studio.copies.proof import Proof, Prove
from studio.errors import StudioError

FOLDER = "backups"
MARK = ".sha256"
PART = ".part"
DUMP = ".dump"
# What a copy that was broken off left behind goes with the next one, once nobody can be at it.
STALE_S = 3600


@dataclass(frozen=True, slots=True)
class Plan:
    """What a copy would be: of what, where to, and which older ones it would replace."""

    source: str
    folder: Path
    path: Path
    size: int
    would_go: tuple[str, ...]
    file: Path | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """A copy that was made."""

    source: str
    path: Path
    size: int
    rows: dict[str, int]
    digest: str
    # None where the ledger was not looked at, for its tables are of an earlier release.
    proof: Proof | None
    removed: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """Rows in all."""
        return sum(self.rows.values())

    @property
    def faults(self) -> tuple[str, ...]:
        """What the proof found wrong in the ledger, which the copy holds as it is."""
        return self.proof.faults if self.proof else ()


def usual_folder() -> Path:
    """Return where copies lie unless told otherwise."""
    return Path(settings.DATA_DIR) / FOLDER


def plan(to: Path | None = None, *, what: str = "", now: datetime | None = None) -> Plan:
    """Look at what a copy takes, and refuse what cannot be; nothing is written but the folder."""
    folder = _folder(to)
    connection = connections["default"]
    file = inuse.file_of(connection)
    is_file = file is not None and file.is_file() and file.stat().st_size
    if connection.vendor == "sqlite" and not is_file:
        raise StudioError(f"There is no studio in {file} yet, so there is nothing to copy.")
    stem, suffix = stem_and_suffix(connection)
    size = _size(file) if file else dumping.size(connection)
    room.refuse_without(room.needed_for(size, folder, file.parent if file else None), folder)
    at = now or timezone.now()
    name = naming.copy_name(stem, suffix, at, taken=set(os.listdir(folder)), what=what)
    coming = () if what else (naming.read_name(name, stem, suffix),)
    begun = sqlitefile.first_entry(file, is_still=False) if file else None
    there = _of_this_studio(folder, stem, suffix, begun)
    return Plan(
        source=str(file or connection.settings_dict["NAME"]),
        folder=folder,
        path=folder / name,
        size=size,
        would_go=tuple(_superfluous([*there, *filter(None, coming)])),
        file=file,
    )


def make(
    to: Path | None = None, *, prove: Prove | None, what: str = "", now: datetime | None = None
) -> Made:
    """Make a copy; it has its name only once it was looked over and is on the disk.

    A copy whose ledger has faults is kept, for it is what there is, and no older one goes then.
    """
    planned = plan(to, what=what, now=now)
    _sweep(planned)
    try:
        with _part(planned.path) as part:
            rows, proof = _fill(part, planned, prove)
            room.write_down(part)
            digest = sqlitefile.digest_of(part)
            size = part.stat().st_size
            part.replace(planned.path)
        _mark(planned.path, digest)
        room.write_down(planned.folder)
    except OSError as fault:
        raise StudioError(f"{room.why_not(fault, planned.folder)} No copy was made.") from fault
    made = Made(planned.source, planned.path, size, rows, digest, proof)
    if made.faults or what:
        return made
    return replace(made, removed=tuple(_tidy(planned)))


def stem_and_suffix(connection: Any) -> tuple[str, str]:
    """Return how the names of copies begin and end."""
    file = inuse.file_of(connection)
    if file is not None:
        return naming.stem_of(file.stem), ".sqlite3"
    return naming.stem_of(str(connection.settings_dict["NAME"])), DUMP


def mark_of(path: Path) -> Path:
    """Return the file beside a copy that holds its mark, as “sha256sum -c” reads it."""
    return path.with_name(path.name + MARK)


def _folder(to: Path | None) -> Path:
    """Return the folder; only the usual one is made, for another may be a disk not plugged in."""
    if to is None:
        folder = usual_folder()
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as fault:
            raise StudioError(room.why_not(fault, folder)) from fault
    else:
        folder = to
    if not folder.is_dir():
        raise StudioError(
            f"There is no folder {folder}. Make it, or plug in the disk that it is on, and make "
            "the copy again.",
            field="to",
        )
    if not os.access(folder, os.W_OK | os.X_OK):
        raise StudioError(
            f"The folder {folder} cannot be written to. Give this account the right to, or name "
            "another.",
            field="to",
        )
    return folder


def _size(file: Path) -> int:
    file = file.resolve()
    beside = (file.with_name(file.name + suffix) for suffix in ("", "-wal"))
    return sum(one.stat().st_size for one in beside if one.exists())


def _fill(part: Path, planned: Plan, prove: Prove | None) -> tuple[dict[str, int], Proof | None]:
    if planned.file is None:
        return dumping.dump(connections["default"], part, prove=prove)
    try:
        sqlitefile.snapshot(planned.file, part)
    except sqlite3.DatabaseError as fault:
        raise StudioError(_why_not(fault, planned)) from fault
    found = sqlitefile.unsound(part)
    if found:
        raise StudioError(
            f"The copy is not sound, and was not kept: {'; '.join(found[:3])}. Either the disk of "
            f"{planned.folder} is failing, or the database itself is damaged: “manage.py audit” "
            "says. Older copies were left alone."
        )
    with sqlitefile.opened(part) as alias:
        age = sqlitefile.age_of(alias)
        sqlitefile.refuse_foreign(age, planned.source)
        proof = prove(alias) if prove and not age.lacks else None
    return sqlitefile.rows_of(part), proof


def _why_not(fault: sqlite3.DatabaseError, planned: Plan) -> str:
    said = str(fault)
    if "full" in said or "disk I/O" in said:
        return f"The disk of {planned.folder} filled up or failed ({said}). No copy was made."
    if "locked" in said:
        return "Somebody wrote in the database all the while. No copy was made; try again soon."
    return (
        f"{planned.source} cannot be copied: {said}. No copy was made; older ones are untouched."
    )


@contextmanager
def _part(path: Path) -> Iterator[Path]:
    """Give an empty file beside the copy to be; nothing of it is left unless it gets its name."""
    part = path.with_name(f".{path.name}{PART}")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    os.close(handle)
    try:
        yield part
    finally:
        for suffix in ("", *sqlitefile.BESIDE):
            part.with_name(part.name + suffix).unlink(missing_ok=True)


def _mark(path: Path, digest: str) -> None:
    part = path.with_name(f".{path.name}{MARK}{PART}")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            file.write(f"{digest}  {path.name}\n")
            file.flush()
            os.fsync(file.fileno())
        part.replace(mark_of(path))
    except OSError:
        # A copy without its mark is as good; one that nobody was told of would only be in the way.
        for one in (part, path):
            one.unlink(missing_ok=True)
        raise


def _of_this_studio(
    folder: Path, stem: str, suffix: str, begun: tuple[str, str] | None
) -> list[naming.Kept]:
    """Return the copies in a folder that are of this studio, by their first entry.

    Studios may share a folder, and their files a name: the copies of another neither go nor
    count. Nor does one that cannot be read. A dump is known by its name alone.
    """
    found = filter(None, (naming.read_name(name, stem, suffix) for name in os.listdir(folder)))
    if suffix == DUMP:
        return list(found)
    if begun is None:
        return []
    return [one for one in found if sqlitefile.first_entry(folder / one.name) == begun]


def _superfluous(copies: list[naming.Kept]) -> list[str]:
    return naming.superfluous(copies, zone=timezone.get_current_timezone())


def _tidy(planned: Plan) -> Iterator[str]:
    """Remove what the rule lets go, and yield the names; one that cannot be removed stays."""
    stem, suffix = stem_and_suffix(connections["default"])
    begun = sqlitefile.first_entry(planned.path) if planned.file else None
    for name in _superfluous(_of_this_studio(planned.folder, stem, suffix, begun)):
        path = planned.folder / name
        # The copy just made stays, even where the clock was once ahead of today.
        if path == planned.path or not path.is_file() or path.is_symlink():
            continue
        with suppress(OSError):
            path.unlink()
            mark_of(path).unlink(missing_ok=True)
            yield name


def _sweep(planned: Plan) -> None:
    """Take away what copies that were broken off left in the folder."""
    ours = re.compile(rf"\.{re.escape(stem_and_suffix(connections['default'])[0])}-.+\.part.*")
    for path in planned.folder.iterdir():
        with suppress(OSError):
            if ours.fullmatch(path.name) and time.time() - path.stat().st_mtime > STALE_S:
                path.unlink()
