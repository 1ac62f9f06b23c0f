"""Take in a list of lots: run it with an opening stock, first with --dry-run.

It writes lots with their first movements, and a count of today where less is left. It writes
nothing where any row has a fault.
"""

from __future__ import annotations

from fibres.exchange import LotList
from studio.files.commands import ImportCommand


class Command(ImportCommand):
    """Enter the lots of a CSV file or a workbook, all or none."""

    help = (
        "Take in lots from CSV or XLSX, with what is left of each. Fibres and sources have to"
        " be there."
    )
    flist = LotList()
