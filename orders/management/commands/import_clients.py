"""Take in a list of clients: run it when a studio is set up, first with --dry-run.

It enters clients, and changes those of the same name where a cell says something else. It
writes nothing where any row has a fault.
"""

from __future__ import annotations

from orders.exchange import ClientList
from studio.files.commands import ImportCommand


class Command(ImportCommand):
    """Enter the clients of a CSV file or a workbook, all or none."""

    help = (
        "Take in clients from CSV or XLSX. A client of the same name is changed where a cell "
        "says something else; an empty cell changes nothing."
    )
    flist = ClientList()
