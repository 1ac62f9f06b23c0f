"""Files that were handed in on a page, and how far the work on each is.

A page cannot hold twenty thousand rows between two clicks, and the database is locked while a
list is entered: so the file and the notes of its progress lie in the data folder, until the list
is entered or a day has gone by.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from django.conf import settings

from studio.errors import StudioError
from studio.files import limits

FOLDER = "handed-in"
TOKEN = re.compile(r"[a-z0-9]{26}")
KEPT_SECONDS = 24 * 3600
# A thread that has noted nothing for so long went away with its server.
LEFT_BEHIND_SECONDS = 300
LOOKING, FAULTY, READY, ENTERING, DONE = "looking", "faulty", "ready", "entering", "done"
AT_WORK = (LOOKING, ENTERING)
NOTED_EVERY_SECONDS = 0.5
BROKEN_OFF = (
    "The work on it was broken off, and nothing was entered. Hand the file in once more; had it "
    "been entered after all, that would be told."
)


class Handed:
    """One file that was handed in."""

    def __init__(self, token: str) -> None:
        self.token = token
        self.folder = settings.DATA_DIR / FOLDER / token
        self._noted = 0.0

    @property
    def content(self) -> bytes:
        """The file as it was sent."""
        return (self.folder / "file").read_bytes()

    @property
    def state(self) -> dict[str, Any]:
        """What is known of it; where its worker went away, that it was broken off."""
        told: dict[str, Any] = json.loads((self.folder / "state.json").read_text("utf-8"))
        silent = time.time() - told.get("at", 0)
        if told["stage"] in AT_WORK and silent > LEFT_BEHIND_SECONDS:
            told |= {"stage": FAULTY, "refusal": BROKEN_OFF, "faults": []}
        return told

    def note(self, **changes: Any) -> None:
        """Write down what has changed, whole or not at all."""
        path = self.folder / "state.json"
        told = json.loads(path.read_text("utf-8")) if path.is_file() else {}
        fresh = self.folder / f"state.{secrets.token_hex(4)}"
        fresh.write_text(
            json.dumps({**told, **changes, "at": time.time()}, ensure_ascii=False), "utf-8"
        )
        fresh.replace(path)

    def tell(self, done: int, of: int, deed: str) -> None:
        """Note how far it is, unless that was done just before."""
        now = time.monotonic()
        if done == of or now - self._noted >= NOTED_EVERY_SECONDS:
            self._noted = now
            # Progress is a kindness: where it cannot be written, the work goes on.
            with suppress(OSError):
                self.note(done=done, of=of, deed=deed)

    def claim(self) -> bool:
        """Take the work on; of two clicks one gets it."""
        try:
            os.close(os.open(self.folder / "claim", os.O_CREAT | os.O_EXCL, 0o600))
        except FileExistsError:
            return False
        return True

    def is_of(self, person: Any) -> bool:
        """Tell whether a person handed it in; nobody else sees what stands in it."""
        return self.state.get("by", person.pk) == person.pk

    def forget_file(self) -> None:
        """Remove the file, and keep what came of it."""
        with suppress(OSError):
            (self.folder / "file").unlink()


def handed(token: str) -> Handed | None:
    """Return what was handed in under a token, if it is still there."""
    if not TOKEN.fullmatch(token):
        return None
    found = Handed(token)
    return found if (found.folder / "state.json").is_file() else None


def hand_in(chunks: Iterable[bytes], *, most: int = limits.MOST_PAGE_BYTES, **told: Any) -> Handed:
    """Keep a file for the work on it; one that is too large is refused while it comes in."""
    clear_out()
    kept = Handed("".join(secrets.choice("abcdefghjkmnpqrstuvwxyz23456789") for _ in range(26)))
    kept.folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    kept.folder.mkdir(mode=0o700)
    size = 0
    with (kept.folder / "file").open("wb") as file:
        for chunk in chunks:
            size += len(chunk)
            if size > most:
                break
            file.write(chunk)
    if size > most:
        shutil.rmtree(kept.folder, ignore_errors=True)
        raise StudioError(f"The file is larger than {limits.megabytes(most)}.", field="file")
    kept.note(stage=LOOKING, done=0, of=0, deed="", **told)
    return kept


def clear_out(now: float | None = None) -> None:
    """Remove what was handed in a day ago."""
    folder: Path = settings.DATA_DIR / FOLDER
    if not folder.is_dir():
        return
    for one in folder.iterdir():
        with suppress(OSError):
            if one.is_dir() and (now or time.time()) - one.stat().st_mtime > KEPT_SECONDS:
                shutil.rmtree(one, ignore_errors=True)
