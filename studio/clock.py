"""The clock of the machine held against the entry book, for one that was set back."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Max
from django.utils import timezone

from studio.models import Entry

# As far as two machines of one studio may differ without anybody noticing.
MOST_BEHIND = timedelta(minutes=5)
# Of so many last entries the latest counts: after a first one by the wrong clock it still shows.
LOOKED_AT = 200


def last_entered(using: str = "default") -> datetime | None:
    """Return the latest moment of the last entries, or None where there are none."""
    last = Entry.objects.using(using).order_by("-pk").values("recorded_at")[:LOOKED_AT]
    found: datetime | None = last.aggregate(latest=Max("recorded_at"))["latest"]
    return found


def behind(using: str = "default") -> str:
    """Say by how much the clock must be wrong; empty while it can be right."""
    now, last = timezone.now(), last_entered(using)
    if last is None or last - now <= MOST_BEHIND:
        return ""
    return (
        f"The clock of this machine says {_moment(now)}, and something was entered at "
        f"{_moment(last)} already. Set the clock right before you enter more. The book keeps "
        "the order in which things were entered, whatever the clock said."
    )


def _moment(at: datetime) -> str:
    there = timezone.localtime(at)
    return f"{there:%H:%M} on {there.day} {there:%b %Y}"
