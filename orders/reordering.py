"""What falls short when, and the cheapest purchases that mend it; page and command call the same.

A plan proven cheapest at once comes out the same every time and is worked out anew. A plan that
took long, or that the time limit stopped, depends on the machine: it is kept under a key of all
it was worked out from, and shown from there until something of that changes or somebody asks to
look longer.
"""

from __future__ import annotations

import json
import time
import uuid
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial
from hashlib import sha256
from typing import Any

from django.db import OperationalError, transaction
from django.db.models import Q
from django.utils import timezone

from fibres import purchasing
from fibres.models import Offer, Purchase
from orders import snapshot, sourcing
from orders.allocated import allocated
from orders.calc import buying
from orders.calc.bought import Flag, Reorder
from orders.calc.cover import Cover
from orders.calc.plan import Snapshot, to_json
from orders.models import StoredPlan
from orders.reorderjson import from_plain, to_plain
from studio.background import in_background
from studio.entries import acting, refuse_repeat
from studio.errors import StudioError
from studio.models import Studio

USUAL_WEEKS, FEWEST_WEEKS, MOST_WEEKS = 13, 4, 26
PAGE_SECONDS, LOOK_SECONDS, QUICK_SECONDS = 1.0, 30.0, 0.3
# A search whose server was stopped never says that it ended.
LEFT_BEHIND = timedelta(seconds=4 * LOOK_SECONDS)
KEPT_FOR = timedelta(days=60)
NOTED_EVERY_SECONDS = 1.0
CHANGED = (
    "The store, the promises or the offers have changed since this plan was worked out, so "
    "nothing was entered. The plan as it is now stands here; mark its orders."
)

Progress = buying.Progress


@dataclass(frozen=True, slots=True)
class Search:
    """A search for a cheaper plan: how long it has looked, its best plan and the bound."""

    seconds: float = 0.0
    best: float | None = None
    bound: float | None = None
    is_over: bool = False


@dataclass(frozen=True, slots=True)
class Found:
    """A plan with what it was worked out from; ``found_at`` where it was shown from the store."""

    key: str
    snapshot: Snapshot
    plan: Reorder
    found_at: datetime | None = None
    search: Search | None = None


def read(today: date, weeks: int = USUAL_WEEKS, *, with_money: bool = True) -> Snapshot:
    """Read store, promises and offers for planning; without money no price is read."""
    return snapshot.read(today, with_sourcing=True, weeks=weeks, with_money=with_money)


@dataclass(frozen=True, slots=True)
class Standing:
    """How promises and fibres stand, without what to buy."""

    snapshot: Snapshot
    cover: Cover
    flags: tuple[Flag, ...]


def standing(today: date, weeks: int = USUAL_WEEKS, *, with_money: bool = False) -> Standing:
    """Say how promises and fibres stand; no plan is worked out.

    Of fibres that may stand in for each other a plan asks for the cheapest on offer. Without
    money no price is read, and the one that the furnish names first is asked for.
    """
    shot = read(today, weeks, with_money=with_money)
    cover = allocated(shot)
    return Standing(shot, cover, tuple(buying.flags(shot, cover=cover)))


def flags(today: date, weeks: int = USUAL_WEEKS) -> tuple[Flag, ...]:
    """Say how every fibre stands."""
    return standing(today, weeks).flags


def reorder(
    today: date, weeks: int = USUAL_WEEKS, *, time_limit_s: float = PAGE_SECONDS
) -> Reorder:
    """Return what falls short and what to buy."""
    return find(today, weeks, time_limit_s=time_limit_s).plan


def find(
    today: date,
    weeks: int = USUAL_WEEKS,
    *,
    time_limit_s: float = PAGE_SECONDS,
    anew: bool = False,
    progress: Progress | None = None,
) -> Found:
    """Return the kept plan, or one worked out now; what is not proven cheapest is kept.

    So is a plan that took long to prove: a slower moment might not prove it again. With
    ``anew`` it is looked for again though one is kept, and the better of both is kept.
    """
    shot = read(today, weeks)
    key = key_of(shot)
    row = StoredPlan.objects.filter(key=key).first()
    if row is not None and row.answer is not None and not anew:
        return Found(key, shot, from_plain(row.answer), row.found_at, search_of(row))
    started = time.monotonic()
    plan = buying.plan(shot, time_limit_s=time_limit_s, progress=progress)
    is_quick = time.monotonic() - started < QUICK_SECONDS
    if plan.is_proven and is_quick and row is None:
        return Found(key, shot, plan)
    kept = keep(key, plan)
    return Found(key, shot, from_plain(kept.answer), kept.found_at, search_of(kept))


def key_of(shot: Snapshot) -> str:
    """Return a key that changes with anything a plan is worked out from."""
    plain = json.dumps(to_json(shot), sort_keys=True, default=str)
    return sha256(plain.encode()).hexdigest()


@transaction.atomic  # noqa: TID251 - no act of a person
def keep(key: str, plan: Reorder) -> StoredPlan:
    """Keep a plan, unless one is kept already that is as good; return what is kept."""
    now = timezone.now()
    StoredPlan.objects.filter(found_at__lt=now - KEPT_FOR).delete()
    StoredPlan.objects.get_or_create(key=key)
    row = StoredPlan.objects.select_for_update().get(key=key)
    earlier = None if row.answer is None else from_plain(row.answer)
    better = plan if earlier is None else better_of(earlier, plan)
    if better != earlier:
        row.answer, row.found_at = to_plain(better), now
        row.save(update_fields=["answer", "found_at"])
    return row


def better_of(first: Reorder, second: Reorder) -> Reorder:
    """Return the cheaper plan, of equals the first; what both prove of the cheapest counts."""
    cheaper = second if second.total_minor < first.total_minor else first
    bound = max(_bound(first), _bound(second))
    if not cheaper.total_minor:
        return replace(cheaper, gap=0.0)
    return replace(cheaper, gap=max(0.0, 1 - bound / cheaper.total_minor))


def _bound(plan: Reorder) -> float:
    return plan.total_minor * (1 - plan.gap)


# --- looking longer -----------------------------------------------------------------------------


def look_longer(
    today: date,
    weeks: int = USUAL_WEEKS,
    *,
    start: Callable[[Callable[[], None]], object] | None = None,
) -> bool:
    """Begin to look for a cheaper plan; False where that is being done already."""
    shot = read(today, weeks)
    key = key_of(shot)
    since = claim(key)
    if since is None:
        return False
    (start or in_background)(partial(search, key, shot, since))
    return True


def claim(key: str) -> datetime | None:
    """Claim the search of a key: of two at once one gets it, and of one left behind another."""
    now = timezone.now()
    StoredPlan.objects.get_or_create(key=key)
    free = Q(looking_since=None) | Q(looking_since__lt=now - LEFT_BEHIND)
    claimed = StoredPlan.objects.filter(free, key=key).update(looking_since=now, progress={})
    return now if claimed else None


def search(key: str, shot: Snapshot, since: datetime) -> None:
    """Look for a cheaper plan, writing down how far it is, and keep what is found."""
    mine = StoredPlan.objects.filter(key=key, looking_since=since)
    over: dict[str, Any] = {"looking_since": None}
    try:
        keep(key, buying.plan(shot, time_limit_s=LOOK_SECONDS, progress=Note(mine)))
        over["progress"] = {"seconds": (timezone.now() - since).total_seconds()}
    finally:
        mine.update(**over)


class Note:
    """Writes down how far a search is, once a second; where that cannot be, it goes on."""

    def __init__(self, rows: Any) -> None:
        self.rows = rows
        self.due = 0.0

    def __call__(self, seconds: float, best: float, bound: float) -> None:
        """Write seconds, best and bound, unless it was done just before."""
        if seconds < self.due:
            return
        self.due = seconds + NOTED_EVERY_SECONDS
        with suppress(OperationalError):
            self.rows.update(progress={"seconds": seconds, "best": best, "bound": bound})


def search_of(row: StoredPlan | None, *, now: datetime | None = None) -> Search | None:
    """Return how far the search is that was asked for; None where none was, or it was left."""
    if row is None:
        return None
    told = {name: row.progress.get(name) for name in ("best", "bound")}
    seconds = row.progress.get("seconds") or 0.0
    if row.looking_since is None:
        return Search(seconds, is_over=True, **told) if row.progress else None
    if row.looking_since < (now or timezone.now()) - LEFT_BEHIND:
        return None
    return Search(seconds, **told)


def progress_of(key: str) -> Search | None:
    """Return how far the search of a key is."""
    return search_of(StoredPlan.objects.filter(key=key).first())


# --- placing an order ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Offered:
    """An order as a page offered it: of which plan, from whom, what, and the freight."""

    key: str
    weeks: int
    source: str
    order_on: date
    lines: tuple[tuple[str, int], ...]
    freight_minor: int


def offers_of(plan: Reorder) -> dict[str, Offer]:
    """Return the offers that a plan takes up, by what it calls them, in one query."""
    refs = {line.offer for order in plan.purchases for line in order.lines}
    return offers_called(refs)


def offers_called(refs: Iterable[str]) -> dict[str, Offer]:
    """Return offers by what a plan calls them."""
    rows = Offer.objects.filter(pk__in=[sourcing.offer_pk(ref) for ref in refs])
    return {
        sourcing.offer_ref(offer.pk): offer for offer in rows.select_related("source", "fibre")
    }


@acting()
def mark_ordered(
    offered: Offered,
    today: date,
    *,
    ordered_on: date,
    expected_on: date,
    by: Any,
    key: uuid.UUID | None = None,
) -> Purchase:
    """Write the purchase for an order of the plan, if the plan still holds.

    An order that was placed before, from another page, has changed the store: it is not placed
    twice.
    """
    if key is not None:
        refuse_repeat(key)
    # Of two people who mark orders at once, the second sees what the first has changed.
    Studio.objects.select_for_update().filter(pk=1).first()
    if key_of(read(today, offered.weeks)) != offered.key:
        raise StudioError(CHANGED)
    offers = offers_called(ref for ref, _ in offered.lines)
    lines = [(offers[ref], packs) for ref, packs in offered.lines]
    return purchasing.mark_ordered(
        lines[0][0].source,
        lines=lines,
        ordered_on=ordered_on,
        expected_on=expected_on,
        freight_minor=offered.freight_minor,
        by=by,
        key=key,
    )
