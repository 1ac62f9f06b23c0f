"""The addresses that other programs read from."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator

from orders import coverasked, sheetsinhand, snapshot
from orders.allocated import allocated
from orders.api import store
from orders.api.description import DESCRIPTION
from orders.api.money import without_money
from orders.calc import plan
from orders.models import Commission
from studio import refs, roles
from studio.api import CannotAnswerError, Reading
from studio.context import current_studio
from studio.roles import PUBLIC, needs

VERSION = 1


class MoneyReading(Reading):
    """A reading of which amounts are left out for who may not see money."""

    @property
    def sees_money(self) -> bool:
        """Whether who asks may see what things cost."""
        return roles.can(self.request.user, "money")

    def as_seen(self, plain: dict[str, Any]) -> dict[str, Any]:
        """Leave out what the role may not see."""
        return plain if self.sees_money else dict(without_money(plain))


@needs("read")
class Index(Reading):
    """What there is to read, and as whom."""

    def plain(self, **kwargs: Any) -> dict[str, Any]:
        """Name the addresses."""
        studio = current_studio(self.request)
        return {
            "halfstuff_api": VERSION,
            "studio": studio.name,
            "currency": studio.currency,
            "role": roles.role_of(self.request.user),
            "description": reverse("api_description"),
            "snapshot": reverse("api_snapshot"),
            "store": reverse("api_store"),
            "cover": reverse("api_cover"),
        }


@needs(PUBLIC)
@method_decorator(login_not_required, name="dispatch")
class Description(Reading):
    """How to ask and what comes, as OpenAPI 3.1."""

    def plain(self, **kwargs: Any) -> dict[str, Any]:
        """Return the description."""
        return DESCRIPTION


@needs("read")
class SnapshotReading(MoneyReading):
    """All that planning reads, as the command writes it."""

    def plain(self, **kwargs: Any) -> dict[str, Any]:
        """Read lots, promises and offers."""
        found = snapshot.read(timezone.localdate(), with_sourcing=True, with_money=self.sees_money)
        return self.as_seen(plan.to_json(found))


@needs("read")
class StoreReading(MoneyReading):
    """How each fibre stands, and the lots with fibre left."""

    asks = ("after",)

    def plain(self, **kwargs: Any) -> dict[str, Any]:
        """Read one part of the store."""
        after = self.request.GET.get("after")
        found = store.read(self.request.user, timezone.localdate(), after=after)
        return self.as_seen(found)


@needs("read")
class CoverReading(MoneyReading):
    """How the promises stand, as the command says it with --json."""

    def plain(self, **kwargs: Any) -> dict[str, Any]:
        """Answer for every promise."""
        cover = allocated(snapshot.read(timezone.localdate()))
        return self.as_seen(coverasked.as_json(cover, cover.commissions))


@needs("read")
class CoverOneReading(MoneyReading):
    """How one commission stands, counted among the promises even while it is only asked for."""

    def plain(self, ref: str = "", **kwargs: Any) -> dict[str, Any]:
        """Answer for the one."""
        rows = Commission.objects.select_related("sheet__mould", "sheet__furnish")
        extra = refs.row_called(rows.filter(state__in=Commission.OPEN), ref)
        cover = allocated(snapshot.read(timezone.localdate(), extra=extra))
        try:
            asked = coverasked.answers_to(cover, ref, made=sheetsinhand.all_made())
        except coverasked.UnknownRefError as unknown:
            raise Http404(str(unknown)) from None
        except coverasked.NotReckonedError as why:
            raise CannotAnswerError(str(why)) from None
        return self.as_seen(coverasked.as_json(cover, asked))
