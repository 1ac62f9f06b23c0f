"""Pages that are a list: narrow it, put it in order, turn its pages, take it along as a file.

Whatever stands in the address, a list answers: an unknown column, page or format is passed
over, and a filter that cannot be read is answered with the sentence of its field.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.core.validators import EMPTY_VALUES, MaxLengthValidator
from django.db.models import QuerySet
from django.db.models.query import ModelIterable
from django.http import HttpRequest, HttpResponseBase
from django.views.generic import TemplateView
from django_filters import CharFilter, Filter, FilterSet
from django_filters.fields import ChoiceField, ModelChoiceField
from django_tables2.data import TableQuerysetData

from studio import exports, roles
from studio.context import current_studio
from studio.fields import DayField, MassField, MoneyField
from studio.forms import LONG_TEXT, HouseMixin
from studio.pages import HousePage
from studio.search import holding, words_of
from studio.tables import LedgerTable

PER_PAGE, MOST_PER_PAGE = 25, 200
LONGEST_SEARCH = 100
ANY = "Any"


# --- a table for a request ----------------------------------------------------------------------


def house_table(
    request: HttpRequest,
    table_class: type[LedgerTable],
    rows: Any,
    *,
    paginate: bool = True,
    per_page: int = PER_PAGE,
    opens_last: bool = False,
    **kwargs: Any,
) -> LedgerTable:
    """Return a table in the studio's units for whoever asks, in the order and page asked for.

    Several tables on one page need a ``prefix`` each, such as "lots-". A book ``opens_last``, on
    the page that was written last.
    """
    studio = current_studio(request)
    told = {
        "units": studio.units,
        "currency": studio.currency,
        "sees_money": roles.can(request.user, "money"),
        **kwargs,
    }
    return arrange(
        table_class(rows, **told),
        request,
        per_page=per_page if paginate else None,
        opens_last=opens_last,
    )


def arrange(
    table: LedgerTable, request: HttpRequest, *, per_page: int | None, opens_last: bool = False
) -> LedgerTable:
    """Sort and page a table as the query string asks; None for ``per_page`` shows every row."""
    table.request = request
    asked = request.GET.get(table.prefixed_order_by_field, "")
    name = asked.removeprefix("-")
    if name in table.columns and table.columns[name].orderable:
        table.order_by = (asked,)
    if per_page is not None:
        _settle_ties(table)
        size = whole(request.GET.get(table.prefixed_per_page_field, "")) or per_page
        table.paginator = Paginator(table.rows, min(size, MOST_PER_PAGE))
        last = table.paginator.num_pages
        wanted = whole(request.GET.get(table.prefixed_page_field, ""))
        table.page = table.paginator.page(min(wanted or (last if opens_last else 1), last))
    return table


def whole(text: str) -> int:
    """Return the number that text writes in plain digits, or 0."""
    return int(text) if len(text) <= 9 and text.isascii() and text.isdigit() else 0


def _settle_ties(table: LedgerTable) -> None:
    """Add the key to the order, so that no row of equal rank is on two pages or on none."""
    if not isinstance(table.data, TableQuerysetData):
        return
    rows: QuerySet[Any] = table.data.data
    if issubclass(rows._iterable_class, ModelIterable) and not rows.query.combinator:
        order = rows.query.order_by or rows.model._meta.ordering
        table.data.data = rows.order_by(*order, "pk")


# --- filters ------------------------------------------------------------------------------------


class FilterForm(HouseMixin, forms.Form):
    """The form over a list: quiet choices, short searches."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, forms.CharField) and field.max_length is None:
                field.validators.append(MaxLengthValidator(LONGEST_SEARCH, LONG_TEXT))
            if isinstance(field, forms.NullBooleanField):
                field.widget.choices = [("", ANY), ("true", "Yes"), ("false", "No")]
            if isinstance(field, ChoiceField | ModelChoiceField) and field.empty_label is not None:
                field.empty_label = ANY
                # The list of choices is made anew: the old one holds the old words.
                field.widget.choices = field.choices


class HouseFilterSet(FilterSet):
    """Filters drawn as the house draws forms; ``money_filters`` need an eye for money."""

    money_filters: tuple[str, ...] = ()

    def __init__(
        self,
        *args: Any,
        units: str = "metric",
        currency: str = "GBP",
        sees_money: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.told = {"system": units, "currency": currency}
        for name in () if sees_money else self.money_filters:
            del self.filters[name]

    @property
    def form(self) -> forms.Form:
        """The form of these filters."""
        if not hasattr(self, "_form"):
            fields = {name: entry.field for name, entry in self.filters.items()}
            form_class = type(f"{type(self).__name__}Form", (FilterForm,), fields)
            data = self.data if self.is_bound else None
            self._form = form_class(data, prefix=self.form_prefix, **self.told)
        return self._form

    @property
    def narrows(self) -> bool:
        """Whether any filter is set, or something was typed that cannot be read as one."""
        if not self.is_bound:
            return False
        return bool(self.errors) or any(
            value not in EMPTY_VALUES for value in self.form.cleaned_data.values()
        )


class WordsFilter(CharFilter):
    """Rows in which every word that is typed stands in one of the fields."""

    def __init__(self, searched: tuple[str, ...], **kwargs: Any) -> None:
        kwargs.setdefault("label", "Words")
        super().__init__(**kwargs)
        self.searched = searched

    def filter(self, rows: QuerySet[Any], value: str) -> QuerySet[Any]:
        """Narrow the rows word by word."""
        return holding(rows, self.searched, words_of(value or ""))


class DayFilter(Filter):
    """A day, typed or picked."""

    field_class = DayField


class MassFilter(Filter):
    """A mass with its unit, compared in milligrams."""

    field_class = MassField

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, stored=True, **kwargs)


class MoneyFilter(Filter):
    """An amount in the studio's currency, compared in minor units."""

    field_class = MoneyField


# --- the page -----------------------------------------------------------------------------------


class ListPage(HousePage, TemplateView):
    """A page with one list. Children set ``needs``, ``table_class`` and ``get_queryset``."""

    template_name = "studio/list_page.html"
    table_class: type[LedgerTable]
    filterset_class: type[HouseFilterSet] | None = None
    per_page = PER_PAGE
    export_name = "list"
    export_need = "export"
    side_head = ""
    note = ""
    nothing_fits = "Nothing fits these filters. Change one, or show all."

    def get_queryset(self) -> Any:
        """Return the rows before they are narrowed."""
        raise NotImplementedError

    def table_kwargs(self) -> dict[str, Any]:
        """Return what more the table is told."""
        return {}

    def export_kwargs(self) -> dict[str, Any]:
        """Return what more the table of a file is told."""
        return {}

    def totals(self, rows: Any) -> Mapping[str, Any] | None:
        """Return the totals over all rows, raw, by column; None adds up what is on the page."""
        return None

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Show the list, or hand it out as a file."""
        narrowed = self._filter()
        rows = self.get_queryset() if narrowed is None else narrowed.qs
        kind = request.GET.get("format")
        if kind in exports.KINDS:
            return self._export(rows, kind)
        told = self.table_kwargs()
        if narrowed is not None and narrowed.narrows:
            told = {"nothing": self.nothing_fits, **told}
        table = self._table(rows, totals=self.totals(rows), **told)
        return self.render_to_response(
            self.get_context_data(table=table, filter=narrowed, **kwargs)
        )

    def _table(self, rows: Any, **kwargs: Any) -> LedgerTable:
        return house_table(
            self.request, self.table_class, rows, **{"per_page": self.per_page, **kwargs}
        )

    def _filter(self) -> HouseFilterSet | None:
        if self.filterset_class is None:
            return None
        studio = self.studio
        return self.filterset_class(
            self.request.GET or None,
            queryset=self.get_queryset(),
            request=self.request,
            units=studio.units,
            currency=studio.currency,
            sees_money=self.sees_money,
        )

    def _export(self, rows: Any, kind: str) -> HttpResponseBase:
        if not roles.can(self.request.user, self.export_need):
            raise PermissionDenied
        table = self._table(rows, **{**self.table_kwargs(), **self.export_kwargs()})
        return exports.export(table, kind, name=self.export_name)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what the list page shows around its table."""
        narrowed = kwargs.get("filter")
        query = self.request.GET.copy()
        files = []
        for kind in exports.KINDS:
            query["format"] = kind
            files.append((f"?{query.urlencode()}", f"As {kind.upper()}"))
        return super().get_context_data(
            side_head=self.side_head or self.get_heading(),
            note=self.note,
            clear=self.request.path if narrowed is not None and narrowed.narrows else "",
            files=files if roles.can(self.request.user, self.export_need) else [],
            **kwargs,
        )
