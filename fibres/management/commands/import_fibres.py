"""Take in a list of fibres: run it when a studio is set up, first with --dry-run.

It enters fibres, and changes those of the same name where a cell says something else. It writes
nothing where any row has a fault.
"""

from __future__ import annotations

from fibres.exchange import FibreList
from studio.files.commands import ImportCommand


class Command(ImportCommand):
    """Enter the fibres of a CSV file or a workbook, all or none."""

    help = (
        "Take in fibres from CSV or XLSX. A fibre of the same name is changed where a cell "
        "says something else; an empty cell changes nothing."
    )
    flist = FibreList()
