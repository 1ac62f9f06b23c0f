"""The whole studio out and in again: page and command call the same."""

from __future__ import annotations

from collections.abc import Iterator
from typing import IO, Any

from fibres import sealing
from fibres.models import Fibre, Movement, Seal
from orders import audit
from studio.files import whole, wholein
from studio.files.wholein import BroughtIn

# Fibres of this release, which an opened studio finds by itself.
MADE_BY_OPENING = (Fibre,)


def bring_in(
    file: IO[bytes], *, by: Any = None, accept_faults: bool = False, tell: whole.Tell | None = None
) -> BroughtIn:
    """Bring a studio in to an empty one, if every balance in it proves itself."""

    def prove() -> Iterator[str]:
        # A release before the seals took a studio out without any.
        if not Seal.objects.exists():
            sealing.seal_all(Movement.objects.all())
        if not accept_faults:
            yield from map(str, audit.audit().faults)

    return wholein.bring_in(file, by=by, made_by_opening=MADE_BY_OPENING, prove=prove, tell=tell)
