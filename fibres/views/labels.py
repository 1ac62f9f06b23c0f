"""Labels of lots, with a code that opens the page of the lot on a phone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.views.generic import TemplateView

from fibres import queries
from fibres.filters import LotFilter
from fibres.models import Lot
from fibres.views.lots import OneLot
from studio.pages import HousePage
from studio.qr import qr_path
from studio.roles import needs

MOST_LABELS = 120


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on the label of a lot."""

    lot: Lot
    address: str
    path: str
    side: int


def label_of(lot: Lot, request: HttpRequest) -> Label:
    """Return the label of a lot; its code holds the address by which this page was asked for."""
    address = request.build_absolute_uri(lot.get_absolute_url())
    return Label(lot, address, *qr_path(address))


class LabelPage(HousePage, TemplateView):
    """Labels to print and cut apart. Donors are not named: a label is seen by everybody."""

    template_name = "fibres/labels.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say by which address the codes lead here."""
        host = self.request.build_absolute_uri("/")
        return super().get_context_data(host=host, **kwargs)


@needs("read")
class LotLabel(OneLot, LabelPage):
    """The label of one lot."""

    def get_heading(self) -> str:
        """Name the lot."""
        return f"Label of {self.lot.ref}"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the one label."""
        return super().get_context_data(labels=[label_of(self.lot, self.request)], **kwargs)


@needs("read")
class LabelSheet(LabelPage):
    """A sheet of labels of the lots that hold something, narrowed as the list of lots is."""

    heading = "Labels"
    back = ("Lots", "lots")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the labels, as many as one printing takes."""
        studio = self.studio
        held = queries.lots_for(self.request.user).filter(oven_dry_mg__gt=0)
        chosen = LotFilter(
            self.request.GET or None,
            queryset=held.order_by("place", "ref"),
            request=self.request,
            units=studio.units,
            currency=studio.currency,
            sees_money=self.sees_money,
        )
        lots = list(chosen.qs[: MOST_LABELS + 1])
        return super().get_context_data(
            labels=[label_of(lot, self.request) for lot in lots[:MOST_LABELS]],
            filter=chosen,
            clear=self.request.path if chosen.narrows else "",
            most=MOST_LABELS if len(lots) > MOST_LABELS else 0,
            **kwargs,
        )
