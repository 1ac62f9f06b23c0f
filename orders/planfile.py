"""Reading a snapshot from a file that somebody names on the command line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.core.management.base import CommandError

from orders.calc.plan import Snapshot, from_text
from studio.errors import SnapshotError, StudioError

LARGEST_BYTES = 50 * 1024 * 1024


def read_plan(path: str) -> Snapshot:
    """Return the snapshot in a file; say in one line what is wrong with the file itself."""
    if "\0" in path:
        raise StudioError("The name of the file cannot be read.", field="snapshot")
    try:
        with Path(path).open("rb") as opened:
            # One byte more than is allowed, so that an endless file ends here too.
            raw = opened.read(LARGEST_BYTES + 1)
    except OSError as fault:
        reason = (fault.strerror or "it cannot be opened").lower()
        raise StudioError(f"{path} cannot be read: {reason}.", field="snapshot") from None
    if len(raw) > LARGEST_BYTES:
        raise StudioError(
            f"{path} has more than 50 MB, and a snapshot has less. Is it the right file?",
            field="snapshot",
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise StudioError(
            f"{path} is not UTF-8 text: byte {fault.start + 1} cannot be read. Save it as UTF-8.",
            field="snapshot",
        ) from None
    return from_text(text)


@contextmanager
def refusals_told(path: str) -> Iterator[None]:
    """End a command with what was refused: one line, or each fault of the file by its path."""
    try:
        yield
    except SnapshotError as refusal:
        faults = "\n".join(f"{place}: {sentence}" for place, sentence in refusal.faults)
        count = len(refusal.faults)
        raise CommandError(
            f"{path} cannot be planned on, {count} fault{'' if count == 1 else 's'}:\n{faults}"
        ) from None
    except StudioError as refusal:
        raise CommandError(str(refusal)) from None
