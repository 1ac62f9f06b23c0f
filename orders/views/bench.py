"""The bench: sums asked by an address that can be kept, and nothing stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils import timezone
from django.views.generic import TemplateView

from orders import asking
from orders.askingforms import MoreToPromise
from orders.benchforms import BasisWeight, DryMass, FibreForSheets, SheetsFromFibre, Sum
from orders.costforms import CostOfSheet
from orders.explained import bench as explained
from orders.views import costpanels
from orders.views.benchquote import quote_address
from studio import roles
from studio.errors import StudioError
from studio.explaining import Explained
from studio.pages import HousePage
from studio.roles import needs

SUMS: tuple[type[Sum], ...] = (
    SheetsFromFibre, FibreForSheets, DryMass, BasisWeight, MoreToPromise,
)  # fmt: skip


@needs("read")
class Bench(HousePage, TemplateView):
    """The sum that is asked for is worked out; the others show usual figures or wait."""

    template_name = "orders/bench.html"
    heading = "Bench"
    lede = "Sums for the back of an envelope. Nothing on this page is saved."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the sums, each with its lines or its faults."""
        asked = self.request.GET.get("sum", "")
        kinds = (*SUMS, CostOfSheet) if self.sees_money else SUMS
        sums = [self._sum(kind, asked) for kind in kinds]
        faulty = next((entry["form"] for entry in sums if entry["asked"]), None)
        return super().get_context_data(sums=sums, form=faulty, **kwargs)

    def _sum(self, kind: type[Sum], asked: str) -> dict[str, Any]:
        is_asked = kind.name == asked
        given = {"system": self.studio.units, "initial": kind.USUAL}
        if kind.waiting and not is_asked:
            # It reads the whole store: only for who asks.
            day = {"by": asking.usual_day(timezone.localdate()), **kind.USUAL}
            return {"form": kind(**given | {"initial": day}), "lines": [], "asked": False}
        form = kind(self.request.GET if is_asked else usual(kind, given), **given)
        lines = _lines(form)
        quote = quote_address(form) if lines and self.may_quote else ""
        found = {"form": form, "lines": lines, "asked": is_asked, "quote": quote}
        if isinstance(form, CostOfSheet) and form.costing is not None:
            wanted = form.cleaned_data["wanted"]
            found["depth"] = costpanels.depth_context(self.request, form.costing, wanted)
        return found

    @property
    def may_quote(self) -> bool:
        """Whether the reader may draw up a quote of a sum."""
        return self.sees_money and roles.can(self.request.user, "orders.change")

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how each sum is made."""
        sums = shown["sums"]
        said = explained.of_sums(sums)
        if self.sees_money:
            said.append(explained.of_cost(self.studio.price_by, sums[-1]["lines"]))
        return said


def usual(kind: type[Sum], given: dict[str, Any]) -> dict[str, str]:
    """Return the usual figures as if a person had typed them, so that every sum shows one."""
    typed: dict[str, str] = {}
    for field in kind(**given):
        value = field.value()
        if isinstance(value, list | tuple):
            typed[field.name], typed[f"{field.name}_unit"] = value
        elif value is not None:
            typed[field.name] = value
    return typed


def _lines(form: Sum) -> list[Any]:
    if not form.is_valid():
        return []
    try:
        return form.lines()
    except StudioError as refusal:
        field = refusal.field if refusal.field in form.fields else None
        form.add_error(field, str(refusal))
        return []
