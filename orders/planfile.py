"""Reading a snapshot from a file that somebody names on the command line."""

from __future__ import annotations

from pathlib import Path

from orders.calc.plan import Snapshot, from_text
from studio.errors import StudioError

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
