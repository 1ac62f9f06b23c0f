"""Take in a scrap log: run it with what was noted at the door, first with --dry-run.

It writes one lot for each gift, and donors who are new. It writes nothing where any row has a
fault.
"""

from __future__ import annotations

from fibres.exchange import ScrapList
from studio.files.commands import ImportCommand


class Command(ImportCommand):
    """Enter the gifts of scrap of a CSV file or a workbook, all or none."""

    help = (
        "Take in a scrap log from CSV or XLSX. Each row is one gift and becomes a lot; a new "
        "donor is entered with it."
    )
    flist = ScrapList()
