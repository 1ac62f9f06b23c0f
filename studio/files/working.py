"""The work on a list that was handed in on a page: looked over first, entered on the word."""

from __future__ import annotations

import logging
from typing import Any

from django.db import DatabaseError

from studio import background, outages
from studio.errors import StudioError
from studio.files import desk
from studio.files.commands import MOST_SHOWN
from studio.files.desk import Handed
from studio.files.lists import FileList, ListFaultsError
from studio.files.rows import ListFile, read_list
from studio.files.taking import TakenIn, take_in
from studio.models import Studio

logger = logging.getLogger(__name__)
# A page waits so long for the work, and then says how far it is.
PATIENCE_SECONDS = 1.5
UNLUCKY = "Something went wrong that nobody foresaw, and nothing was entered. Look in the log."
NOT_NOW = "Nothing was entered: the database could not be used just now. Hand it in again."


def begin(kept: Handed, work: Any, *args: Any) -> None:
    """Begin work in a thread, and wait a moment for what is quick."""

    def run() -> None:
        try:
            work(kept, *args)
        except StudioError as refusal:
            _refuse(kept, str(refusal))
        except DatabaseError as fault:
            logger.exception("A list could not be entered")
            _refuse(kept, outages.sentence(fault, NOT_NOW))
        except Exception:
            # Whatever it was, the person who waits has to be told.
            logger.exception("A list could not be read")
            _refuse(kept, UNLUCKY)

    thread = background.in_background(run, "take in a list")
    if thread is not None:
        thread.join(PATIENCE_SECONDS)


def _refuse(kept: Handed, said: str) -> None:
    kept.note(stage=desk.FAULTY, refusal=said, faults=[], faults_count=0)
    kept.forget_file()


def look_over(kept: Handed, flist: FileList) -> None:
    """Read a list and note what it changes, or every fault of it."""
    file = _file(kept, flist)
    try:
        found = take_in(flist, file, name=kept.state["name"], dry_run=True, progress=kept.tell)
    except ListFaultsError as refusal:
        _note_faults(kept, refusal, file)
        return
    kept.note(stage=desk.READY, **_told(flist, found))
    if not found.is_new:
        kept.forget_file()


def enter(kept: Handed, flist: FileList, by: Any, again: bool) -> None:
    """Enter a list that was looked over; what has changed since can still refuse it."""
    file = _file(kept, flist)
    try:
        found = take_in(
            flist, file, name=kept.state["name"], again=again, by=by, progress=kept.tell
        )
    except ListFaultsError as refusal:
        _note_faults(kept, refusal, file)
        return
    kept.note(stage=desk.DONE, **_told(flist, found))
    kept.forget_file()


def _file(kept: Handed, flist: FileList) -> ListFile:
    told = kept.state
    return read_list(
        kept.content,
        flist.columns,
        currency=Studio.current().currency,
        sheet=told["sheet"],
        decimals=told["decimals"],
    )


def _note_faults(kept: Handed, refusal: ListFaultsError, file: ListFile) -> None:
    kept.note(
        stage=desk.FAULTY,
        refusal=str(refusal),
        faults=[(one.row, one.column, one.text) for one in refusal.faults[:MOST_SHOWN]],
        faults_count=len(refusal.faults),
        notes=file.notes,
    )
    kept.forget_file()


def _told(flist: FileList, found: TakenIn) -> dict[str, Any]:
    studio = Studio.current()
    return {
        "said": found.said,
        "notes": list(found.notes),
        "is_new": found.is_new,
        "same": _same_words(found),
        "changes": [
            (change.row, change.deed, flist.words(change, studio))
            for change in found.changes[:MOST_SHOWN]
        ],
        "changes_count": len(found.changes),
    }


def _same_words(found: TakenIn) -> str:
    if found.same_as is None:
        return ""
    return f"{found.same_as.recorded_at:%d %b %Y} by {found.same_as.who}"
