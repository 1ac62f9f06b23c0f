"""Two list pages over moulds and their routes, for the tests of lists."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponseBase
from django.urls import path
from django_filters import BooleanFilter, CharFilter, ChoiceFilter, NumberFilter

from studio.lists import (
    DayFilter,
    HouseFilterSet,
    ListPage,
    MassFilter,
    MoneyFilter,
    WordsFilter,
)
from studio.models import Mould
from studio.roles import needs
from studio.tables import KgColumn, LedgerTable, MoneyColumn, RowHeader, TextColumn
from studio.urls import urlpatterns as house_urls
from tests.studio.pages import Element, Page

# Openings stand in for masses and prices here: any whole number can be shown as either.


class MouldTable(LedgerTable):
    caption = "Moulds"
    nothing = "No mould has been entered yet."

    name = RowHeader("Mould")
    width = KgColumn("Across", accessor="width_um", total=True)
    price = MoneyColumn("Price", accessor="height_um")
    remarks = TextColumn("Remarks")
    is_closed = TextColumn("Closed")


class MouldFilter(HouseFilterSet):
    money_filters = ("dearest",)

    words = WordsFilter(("name", "remarks"))
    exact = CharFilter(field_name="name", label="Name")
    heaviest = MassFilter("width_um", "lte", label="At most")
    across = NumberFilter("width_um", label="Across")
    dearest = MoneyFilter("height_um", "lte", label="At most")
    since = DayFilter("closed_on", "gte", label="Closed since")
    kind = ChoiceFilter(field_name="name", choices=[("Laid", "Laid")], label="Kind")
    shut = BooleanFilter("closed_on", "isnull", exclude=True, label="Closed")

    class Meta:
        model = Mould
        fields: list[str] = []


@needs("read")
class MouldList(ListPage):
    table_class = MouldTable
    filterset_class = MouldFilter
    heading = "Moulds"
    lede = "Every mould of the house."
    note = "By name"
    export_name = "moulds"

    def get_queryset(self) -> Any:
        return Mould.objects.all()


@needs("read")
class PlainList(ListPage):
    table_class = MouldTable
    heading = "Plain"
    side_head = "In short"
    per_page = 3

    def get_queryset(self) -> Any:
        return [{"name": f"No. {number}", "width_um": number} for number in range(7)]

    def table_kwargs(self) -> dict[str, Any]:
        return {"caption": "Plain moulds"}

    def totals(self, rows: Any) -> dict[str, Any]:
        return {"width": sum(row["width_um"] for row in rows) * 1_000_000}


urlpatterns = [
    path("scratch/", MouldList.as_view(), name="scratch"),
    path("plain/", PlainList.as_view(), name="plain"),
    *house_urls,
]


def make_moulds(count: int, **changes: Any) -> None:
    Mould.objects.bulk_create(
        Mould(**{"name": f"No. {n:03}", "width_um": n * 1000, "height_um": n * 100, **changes})
        for n in range(1, count + 1)
    )


def read(answer: HttpResponseBase) -> Page:
    assert answer.status_code == 200
    page = Page(answer.content.decode())  # type: ignore[attr-defined]
    assert page.misnested == []
    return page


def said(element: Element) -> str:
    return " ".join(element.text.split())


def names(answer: HttpResponseBase) -> list[str]:
    return [e.text for e in read(answer).all("th", scope="row") if "tbody" in e.inside]


def way_out(page: Page) -> list[str]:
    return [e.attrs["href"] for e in page.all("a") if e.text == "Show all"]
