"""Take offers out: run it for a file that a spreadsheet reads, or for an empty one to fill in.

It reads and writes nothing in the database. What comes out can be brought in again with
``import_offers``.
"""

from __future__ import annotations

from fibres.exchange import OfferList
from studio.files.commands import ExportCommand


class Command(ExportCommand):
    """Write offers as CSV or XLSX."""

    help = "Write offers as CSV or XLSX, or with --template an empty list to fill in."
    flist = OfferList()
