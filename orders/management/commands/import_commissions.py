"""Take in a list of commissions: run it when a studio is set up, first with --dry-run.

It enters commissions and changes none. It writes nothing where any row has a fault.
"""

from __future__ import annotations

from orders.exchange import CommissionList
from studio.files.commands import ImportCommand


class Command(ImportCommand):
    """Enter the commissions of a CSV file or a workbook, all or none."""

    help = (
        "Take in commissions from CSV or XLSX, open ones and those of the past. Clients and "
        "sheets have to be there."
    )
    flist = CommissionList()
