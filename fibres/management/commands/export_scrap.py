"""Take the scrap log out: run it for a file that a spreadsheet reads, or one to fill in.

It reads and writes nothing in the database. What comes out can be brought in again with
``import_scrap``.
"""

from __future__ import annotations

from fibres.exchange import ScrapList
from studio.files.commands import ExportCommand


class Command(ExportCommand):
    """Write gifts of scrap as CSV or XLSX."""

    help = "Write gifts of scrap as CSV or XLSX, or with --template an empty list to fill in."
    flist = ScrapList()
