"""Whether a file that is handed in is what the end of its name says."""

from __future__ import annotations

from pathlib import PurePath

from studio.errors import ReadingError
from studio.files import books

BOOK, WHOLE = ".xlsx", ".zip"
TEXTS = (".csv", ".txt", ".tsv")


def refuse_other_than_a_list(name: str, start: bytes) -> None:
    """Refuse a file by the end of its name, and by its first bytes where they say otherwise."""
    ending = _refuse_ending(name, (*TEXTS, BOOK), "Save the list anew as CSV or XLSX.")
    is_packed = start.startswith(books.ZIP)
    # Of one that is old or locked the reader says so, and what to do.
    if ending == BOOK and not is_packed and not start.startswith(books.OLD_OR_LOCKED):
        raise ReadingError(
            "Its name ends in .xlsx, and it is no such workbook. Save it anew as XLSX or CSV."
        )
    if ending != BOOK and is_packed:
        raise ReadingError(
            f"Its name ends in {ending}, and it is packed as a workbook is. Save it anew as CSV, "
            "or let its name end in .xlsx."
        )


def refuse_other_than_a_studio(name: str) -> None:
    """Refuse a file that cannot be a whole studio; what is in it is looked through later."""
    _refuse_ending(name, (WHOLE,), "Take the studio out anew.")


def _refuse_ending(name: str, allowed: tuple[str, ...], advice: str) -> str:
    ending = PurePath(name.strip().replace("\\", "/")).suffix.lower()
    if ending in allowed:
        return ending
    plain = ending[1:].isascii() and ending[1:].isalnum() and len(ending) <= 10
    told = f"Its name ends in {ending}." if plain else "Its name does not say what it is."
    *others, last = allowed
    may = f"{', '.join(others)} or {last}" if others else last
    raise ReadingError(f"{told} Hand in one that ends in {may}. {advice}")
