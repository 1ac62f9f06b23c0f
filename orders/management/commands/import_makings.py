"""Take in a list of makings: run it with a log of past makings, first with --dry-run.

It enters makings with their counts; the store moves only where a row names lots to take out. It
writes nothing where any row has a fault.
"""

from __future__ import annotations

from orders.exchange import MakingList
from studio.files.commands import ImportCommand


class Command(ImportCommand):
    """Enter the makings of a CSV file or a workbook, all or none."""

    help = (
        "Take in makings from CSV or XLSX, planned and past. Nothing in the store moves "
        "unless a row names the lots to take out."
    )
    flist = MakingList()
