"""A copy before the tables of a studio are changed to those of a new release."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import connection

from studio import serving
from studio.copies import making, naming, sqlitefile
from studio.errors import StudioError
from studio.files.limits import megabytes


def bring_up_to_date(*, say: Callable[[str], Any], with_copy: bool = True) -> None:
    """Copy a database that is of an earlier release, then change its tables to those of this one.

    Where no copy can be made nothing is changed: the release before still runs on what is there.
    """
    if with_copy and sqlitefile.is_behind():
        try:
            made = making.make(prove=None, what=naming.BEFORE_UPGRADE)
        except StudioError as fault:
            raise StudioError(
                f"The database has to be changed for this release, and no copy could be made "
                f"before: {fault} Nothing was changed. --without-copy goes on without one.",
            ) from fault
        say(f"A copy from before this release is kept: {made.path}, {megabytes(made.size)}.")
    serving.migrate()
    connection.close()
