"""Take commissions out: run it for a file that a spreadsheet reads, or one to fill in.

It reads and writes nothing in the database. What comes out can be brought in again with
``import_commissions``.
"""

from __future__ import annotations

from orders.exchange import CommissionList
from studio.files.commands import ExportCommand


class Command(ExportCommand):
    """Write commissions as CSV or XLSX."""

    help = "Write commissions as CSV or XLSX, or with --template an empty list to fill in."
    flist = CommissionList()
