"""The pages of dryers: what each holds and how long that takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse

from orders.dryerforms import DryerForm, DryerTable
from orders.explained.cover import loads
from orders.models import Dryer
from studio.explaining import Explained, first_of
from studio.lists import HouseFilterSet, ListPage, WordsFilter
from studio.pages import ClosePage, RowPage
from studio.roles import needs


class DryerFilter(HouseFilterSet):
    """Dryers by words of their name."""

    words = WordsFilter(("name",), label="Words")


@needs("studio.change")
class DryerList(ListPage):
    """Every dryer, loft and set of boards."""

    template_name = "orders/dryers.html"
    table_class = DryerTable
    filterset_class = DryerFilter
    heading = "Dryers"
    lede = "What a dryer holds and how long a load takes say when sheets can be ready."
    side_head = "Dryers"
    export_name = "dryers"

    def get_queryset(self) -> QuerySet[Dryer]:
        """Return dryers by name."""
        return Dryer.objects.all()

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how a load is counted, by the first dryer."""
        return [loads(first_of(shown["table"]))]


@needs("studio.change")
class DryerPage(RowPage):
    """Add or change a dryer."""

    model = Dryer
    form_class = DryerForm
    noun = "dryer"
    close_route = "dryer_close"
    back = ("Dryers", "dryers")
    lede = "A loft or a set of boards is a dryer too. The largest of each kind is counted with."
    button = "Keep the dryer"

    def after(self, row: Any) -> str:
        """Go back to the list of dryers."""
        return reverse("dryers")

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what its figures are used for."""
        return [loads(None if self.is_new else self.row)]


@needs("studio.change")
class DryerClose(ClosePage):
    """Remove or close a dryer."""

    model = Dryer
    noun = "dryer"
    list_route = "dryers"
