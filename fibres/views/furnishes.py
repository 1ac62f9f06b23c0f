"""Furnishes: the list, the page of one, and the form with its three lists."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from fibres import queries
from fibres.explained import kinds as explained
from fibres.filters import FurnishFilter
from fibres.forms.furnishes import (
    MEANWHILE,
    WHOLE,
    AdditionFormSet,
    FurnishForm,
    PartFormSet,
    ShrinkageFormSet,
)
from fibres.models import Fibre, Furnish, FurnishPart, Shrinkage
from fibres.tables import (
    AdditionTable,
    FurnishTable,
    PartTable,
    ShrinkageTable,
    parts_in_words,
)
from studio import roles
from studio.entries import acting
from studio.errors import StudioError
from studio.explaining import Explained, first_of, rows_of
from studio.lists import ListPage, house_table
from studio.origins import Asked, origins_of
from studio.pages import ClosePage, HousePage, RowPage
from studio.roles import needs

# More digits than any key has.
LONGEST_KEY = 18


@needs("read")
class FurnishList(ListPage):
    """Every furnish with its fibres."""

    template_name = "fibres/furnish_list.html"
    table_class = FurnishTable
    filterset_class = FurnishFilter
    heading = "Furnishes"
    lede = "Fibre recipes by share of the dry fibre, with what is added to it."
    export_name = "furnishes"

    def get_queryset(self) -> Any:
        """Return furnishes with their parts."""
        return queries.furnishes()

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the first furnish."""
        return explained.furnish_list(first_of(shown["table"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether a furnish can be entered."""
        may_change = roles.can(self.request.user, "furnishes.change")
        return super().get_context_data(may_change=may_change, **kwargs)


@needs("read")
class FurnishPage(HousePage, TemplateView):
    """One furnish: its fibres, additions and shrinkages."""

    template_name = "fibres/furnish.html"
    back = ("Furnishes", "furnishes")

    @property
    def furnish(self) -> Furnish:
        """The furnish, read once."""
        known: Furnish | None = getattr(self, "_furnish", None)
        if known is None:
            known = get_object_or_404(queries.furnishes(), pk=self.kwargs["pk"])
            self._furnish = known
        return known

    def get_heading(self) -> str:
        """Return its name."""
        return self.furnish.name

    def get_lede(self) -> str:
        """Say what it is made of."""
        words = parts_in_words(self.furnish) or "No fibre is in it yet"
        return f"Closed. {words}." if self.furnish.is_closed else f"{words}."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the three tables."""
        furnish = self.furnish
        rows = {
            "parts": (PartTable, furnish.parts.all()),
            "additions": (AdditionTable, queries.additions_for(self.request.user, furnish)),
            "shrinkages": (ShrinkageTable, with_origins(furnish.shrinkages.all())),
        }
        tables = {
            name: house_table(
                self.request,
                table_class,
                found,
                prefix=f"{name}-",
                paginate=False,
                orderable=False,
            )
            for name, (table_class, found) in rows.items()
        }
        may_change = roles.can(self.request.user, "furnishes.change")
        return super().get_context_data(furnish=furnish, may_change=may_change, **tables, **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain its shares, doses and shrinkages."""
        lists = (rows_of(shown[name]) for name in ("parts", "additions", "shrinkages"))
        return explained.of_furnish(self.reader, *lists)


def with_origins(shrinkages: Iterable[Shrinkage]) -> list[Shrinkage]:
    """Return shrinkages, each with where it comes from; both ways have one figure each."""
    rows = list(shrinkages)
    origins = iter(
        origins_of(
            [
                Asked(way, f"furnish {row.furnish_id} {row.drying}", getattr(row, way))
                for row in rows
                for way in ("across", "along")
            ]
        )
    )
    for row in rows:
        across, along = next(origins), next(origins)
        both = across if across == along else f"across {across}, along {along}"
        row.origin = both  # type: ignore[attr-defined]
    return rows


@needs("furnishes.change")
class FurnishChange(RowPage):
    """Enter a furnish, or change one, with its fibres, additions and shrinkages."""

    model = Furnish
    form_class = FurnishForm
    template_name = "fibres/furnish_form.html"
    back = ("Furnishes", "furnishes")
    has_page = True
    noun = "furnish"
    lede = "Shares are of the dry fibre and come to 100 %; additions are dosed on top of it."
    button = "Keep the furnish"
    waits = ("remarks",)
    parts_classes = (
        ("parts", PartFormSet),
        ("additions", AdditionFormSet),
        ("shrinkages", ShrinkageFormSet),
    )

    @cached_property
    def brought(self) -> Fibre | None:
        """Return the fibre that a link brought along to a new furnish."""
        asked = self.request.GET.get("fibre", "")
        if not (self.is_new and asked.isdecimal() and len(asked) <= LONGEST_KEY):
            return None
        return Fibre.objects.filter(pk=asked, closed_on=None, is_refused=False).first()

    def get_initial(self) -> dict[str, Any]:
        """Call a furnish of one fibre after it, until something else is typed."""
        brought = self.brought
        return {**super().get_initial(), **({"name": brought.name} if brought else {})}

    def rows_initial(self, name: str) -> list[dict[str, Any]] | None:
        """Take the fibre for the whole of the furnish."""
        if name != "parts" or self.brought is None:
            return None
        return [{"fibre": self.brought.pk, "share": WHOLE}]

    def formsets(self) -> dict[str, Any]:
        """Show one fibre and its share on a short page."""
        found = super().formsets()
        if self.is_short and self.request.method != "POST":
            found["parts"].shorten()
        return found

    @property
    def whole_form(self) -> str:
        """Return the address of the page with all rows, and what was brought along to it."""
        brought = f"?fibre={self.brought.pk}" if self.brought else ""
        return f"{self.request.path}{brought}"

    def act(self, form: Any, key: Any) -> Any:
        """Save the furnish, if its fibres are those of the page and still make up the whole."""
        with acting():
            # The lock on the furnish keeps its parts as they are until these are written.
            list(Furnish.objects.select_for_update().filter(pk=self.row.pk))
            parts = FurnishPart.objects.filter(furnish_id=self.row.pk)
            shown = self.formsets()["parts"].shown_pks()
            if set(parts.values_list("pk", flat=True)) != shown:
                raise StudioError(MEANWHILE)
            page = super().act(form, key)
            saved = FurnishPart.objects.filter(furnish_id=self.row.pk)
            if sum(saved.values_list("share", flat=True)) != WHOLE:
                raise StudioError(MEANWHILE)
        return page

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the three lists, each by its name, and whether there is a fibre to choose."""
        return super().get_context_data(
            **self.formsets(), has_fibres=Fibre.objects.exists(), **kwargs
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what shares, doses and shrinkages do."""
        lists = (
            # A row that was refused may hold nothing in its figures.
            [
                form.instance
                for form in shown[name].initial_forms
                if not form.is_bound or form.is_valid()
            ]
            for name in ("parts", "additions", "shrinkages")
        )
        return explained.in_the_form(self.reader, *lists)


@needs("furnishes.change")
class FurnishClose(ClosePage):
    """Remove or close a furnish."""

    model = Furnish
    noun = "furnish"
    list_route = "furnishes"
