"""The two commands of every list: bring it in, and take it out."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from studio.commands import ProgressLine, StoreCommand
from studio.errors import StudioError
from studio.files import limits, writing
from studio.files.grids import content_of
from studio.files.kinds import AS_WRITTEN, COMMA, POINT
from studio.files.lists import CHANGED, ENTERED, REPLACED, UNCHANGED, FileList, ListFaultsError
from studio.files.rows import ListFile, read_list
from studio.files.taking import TakenIn, take_in
from studio.models import Studio

DEEDS = {
    ENTERED: "enter", CHANGED: "change", REPLACED: "replace", UNCHANGED: "leave as it is:",
}  # fmt: skip
MOST_SHOWN = 200
BAR = 24
FORMATS = ("csv", "xlsx")


def bar(done: int, of: int, deed: str) -> str:
    """Return a line that shows how far a list is."""
    filled = BAR * done // max(of, 1)
    return f"[{'#' * filled}{'.' * (BAR - filled)}] {done} of {of} rows {deed}"


@contextmanager
def refusals_told() -> Iterator[None]:
    """Turn what is wrong with a list into the one line of a command."""
    try:
        yield
    except StudioError as refusal:
        raise CommandError(str(refusal)) from refusal


class ImportCommand(StoreCommand):
    """Bring a list in, all of its rows or none."""

    flist: FileList

    def add_arguments(self, parser: CommandParser) -> None:
        """Ask for the file, and how to read it."""
        parser.add_argument("file", help="CSV or XLSX with a line of headings")
        parser.add_argument("--sheet", default="", help="sheet of the workbook; else the first")
        parser.add_argument(
            "--decimal",
            choices=[COMMA, POINT],
            default=AS_WRITTEN,
            help="what marks decimals, where 1,234 can mean two things",
        )
        parser.add_argument("--dry-run", action="store_true", help="say what it would change")
        if not self.flist.is_named:
            parser.add_argument(
                "--again", action="store_true", help="enter a list that was entered before"
            )
        parser.add_argument("--json", action="store_true", help="print counts as one object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read the file, take it in, and print what it changed."""
        studio = Studio.current()
        path = Path(options["file"])
        with refusals_told():
            file = read_list(
                content_of(path),
                self.flist.columns,
                currency=studio.currency,
                sheet=options["sheet"],
                decimals=options["decimal"],
            )
        found = self._take_in(file, path.name, options)
        for note in found.notes if options["verbosity"] else ():
            self.stderr.write(note)
        if options["json"]:
            self.stdout.write(json.dumps({**found.counts, "dry_run": options["dry_run"]}))
            return
        self._print(found, studio, options)

    def _take_in(self, file: ListFile, name: str, options: dict[str, Any]) -> TakenIn:
        try:
            with ProgressLine(self.stderr) as line, refusals_told():
                return take_in(
                    self.flist,
                    file,
                    name=name,
                    dry_run=options["dry_run"],
                    again=options.get("again", False),
                    progress=lambda done, of, deed: line.show(bar(done, of, deed)),
                )
        except CommandError as refusal:
            if isinstance(refusal.__cause__, ListFaultsError):
                self._print_faults(refusal.__cause__, file)
            raise

    def _print_faults(self, refusal: ListFaultsError, file: ListFile) -> None:
        for fault in refusal.faults[:MOST_SHOWN]:
            self.stderr.write(str(fault))
        more = len(refusal.faults) - MOST_SHOWN
        if more > 0:
            self.stderr.write(f"And {more} more like these.")
        if file.how:
            self.stderr.write(file.how)

    def _print(self, found: TakenIn, studio: Studio, options: dict[str, Any]) -> None:
        is_dry = options["dry_run"]
        opening = "Nothing is written. It would be" if is_dry else self.flist.title
        self.stdout.write(f"{opening}: {found.said}.")
        if is_dry and found.same_as is not None:
            self.stdout.write(
                f"The same list was taken in before, by {found.same_as.who}. Without --again it "
                "is not entered once more."
            )
        if not (is_dry or options["verbosity"] > 1):
            return
        for change in found.changes[:MOST_SHOWN]:
            words = self.flist.words(change, studio)
            self.stdout.write(f"  Row {change.row}: {DEEDS[change.deed]} {words}")
        more = len(found.changes) - MOST_SHOWN
        if more > 0:
            self.stdout.write(f"  And {more} rows more.")


class ExportCommand(StoreCommand):
    """Take a list out as a file that can be brought in again."""

    flist: FileList

    def add_arguments(self, parser: CommandParser) -> None:
        """Ask where to write it."""
        parser.add_argument(
            "file", nargs="?", default="-", help="CSV or XLSX, by its ending; else CSV is printed"
        )
        parser.add_argument(
            "--template", action="store_true", help="headings and an example, without rows"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the file, or print it."""
        kind = "csv" if options["file"] == "-" else Path(options["file"]).suffix[1:].lower()
        if kind not in FORMATS:
            raise CommandError(f"{options['file'][:80]} is neither .csv nor .xlsx.")
        content = self._content(kind, is_template=options["template"])
        if options["file"] == "-":
            # As text, without the mark by which a spreadsheet knows it.
            self.stdout.write(content.decode("utf-8-sig"), ending="")
            return
        try:
            Path(options["file"]).write_bytes(content)
        except OSError as fault:
            raise CommandError(
                f"{options['file']} cannot be written: {fault.strerror}."
            ) from fault
        size = limits.megabytes(len(content))
        self.stderr.write(f"{self.flist.title}: written to {options['file']}, {size}.")

    def _content(self, kind: str, *, is_template: bool) -> bytes:
        studio = Studio.current()
        if is_template:
            template = writing.template_csv if kind == "csv" else writing.template_xlsx
            return template(self.flist, studio)
        rows = writing.rows_out(self.flist, studio, with_money=True)
        if kind == "csv":
            return b"".join(writing.as_csv(rows))
        return writing.as_xlsx(rows, self.flist.title)
