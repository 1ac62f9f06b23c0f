"""Take in a supplier's list of offers: run it when a new list comes, first with --dry-run.

It writes offers and their price breaks, and closes the open offers that they replace. It writes
nothing where any row has a fault.
"""

from __future__ import annotations

from fibres.exchange import OfferList
from studio.files.commands import ImportCommand


class Command(ImportCommand):
    """Enter the offers of a CSV file or a workbook, all or none."""

    help = (
        "Take in offers from CSV or XLSX. An open offer of the same source, fibre, form and "
        "pack on the same days is closed, and the new one entered."
    )
    flist = OfferList()
