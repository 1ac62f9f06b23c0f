"""Fibres: the list, the page of one, and the form that enters or changes one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.shortcuts import get_object_or_404
from django.views.generic import TemplateView

from fibres import offshelf, queries, reference
from fibres.explained import kinds as explained
from fibres.filters import FibreFilter
from fibres.forms.fibres import FibreForm
from fibres.models import Fibre
from fibres.tables import FibreTable, LotTable
from studio import roles
from studio.explaining import Explained, first_of, rows_of
from studio.lists import ListPage, house_table
from studio.origins import origin_of
from studio.pages import ClosePage, HousePage, RowPage
from studio.roles import needs
from studio.units import show_mass, show_number, show_share


@needs("read")
class FibreList(ListPage):
    """Every fibre with its usual figures."""

    template_name = "fibres/fibre_list.html"
    table_class = FibreTable
    filterset_class = FibreFilter
    heading = "Fibres"
    lede = "Each kind in each state, with the figures that turn a lot into usable fibre."
    note = "Moisture of the as-is mass, yield of the oven-dry"
    back = ("Store", "store")
    export_name = "fibres"

    def get_queryset(self) -> Any:
        """Return fibres with what is on hand."""
        return queries.fibres_in_store()

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the first fibre."""
        return explained.listed(self.reader, first_of(shown["table"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether the list of usual fibres is still to be had."""
        may_change = roles.can(self.request.user, "fibres.change")
        is_empty = may_change and not Fibre.objects.exists()
        return super().get_context_data(may_change=may_change, is_empty=is_empty, **kwargs)


@needs("read")
class FibrePage(HousePage, TemplateView):
    """One fibre: its figures, where they come from, and its lots."""

    template_name = "fibres/fibre.html"
    back = ("Fibres", "fibres")

    @property
    def fibre(self) -> Fibre:
        """The fibre, read once."""
        known: Fibre | None = getattr(self, "_fibre", None)
        if known is None:
            rows = queries.fibres_in_store()
            known = self._fibre = get_object_or_404(rows, pk=self.kwargs["pk"])
        return known

    def get_heading(self) -> str:
        """Return its name."""
        return self.fibre.name

    def get_lede(self) -> str:
        """Say what is on hand, or that it is refused or closed."""
        fibre = self.fibre
        if fibre.is_refused:
            return f"Refused at the door. {fibre.refusals}"
        mass = show_mass(fibre.on_hand_mg, system=self.studio.units)  # type: ignore[attr-defined]
        count = fibre.lots_held  # type: ignore[attr-defined]
        lots = f"{count} lot" if count == 1 else f"{count} lots"
        held = f"{mass} on hand in {lots}." if count else "None is on hand."
        out = offshelf.weighed_out_by_fibre().get(fibre.pk, 0)
        if out:
            held += (
                f" {show_mass(out, system=self.studio.units)} of it lies weighed out at the vat."
            )
        return f"Closed. {held}" if fibre.is_closed else held

    def origin(self) -> str:
        """Say where its yield comes from."""
        fibre, usual = self.fibre, reference.usual_yield(self.fibre.name)
        known = [] if usual is None else [usual]
        return origin_of("yield", f"fibre {fibre.pk}", fibre.preparation_yield, usual=known)

    def facts(self) -> list[list[tuple[Any, ...]]]:
        """Return its figures in two columns."""
        fibre, system = self.fibre, self.studio.units
        minutes, days = fibre.sorting_minutes_per_kg, fibre.preparation_days
        minimum = show_mass(fibre.minimum_mg, system=system) if fibre.minimum_mg else "None kept"
        figures = [
            ("Usual moisture", show_share(fibre.usual_moisture)),
            ("Preparation yield", f"{show_share(fibre.preparation_yield)}, {self.origin()}"),
            ("It varies by", f"{show_share(fibre.yield_spread)}, standard deviation"),
            ("Preparation takes", f"{days} day{'' if days == 1 else 's'}" if days else ""),
            ("Minimum to keep", minimum),
            ("Keeps wet for", f"{fibre.keeps_wet_days} days" if fibre.keeps_wet_days else ""),
            ("Sorting", f"{show_number(minutes)} minutes a kilogram" if minutes else ""),
        ]
        kind = [
            ("State", fibre.state),
            ("Family", fibre.get_family_display()),
            ("For recycled claims", fibre.get_source_class_display()),
            ("Donated scrap", "Yes" if fibre.is_scrap else "No"),
            ("What to refuse", "" if fibre.is_refused else fibre.refusals),
        ]
        return [figures, kind]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add facts and lots."""
        user = self.request.user
        lots = queries.lots_for(user).filter(fibre=self.fibre).order_by("-received_on", "-pk")
        return super().get_context_data(
            fibre=self.fibre,
            facts=self.facts(),
            lots=house_table(
                self.request,
                LotTable,
                lots,
                prefix="lots-",
                nothing="No lot of it has come yet.",
            ),
            may_change=roles.can(user, "fibres.change"),
            may_receive=roles.can(user, "store.receive"),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the figures of the fibre, and the first of its lots."""
        return explained.of_one(self.reader, self.fibre, rows_of(shown["lots"]))


@needs("fibres.change")
class FibreChange(RowPage):
    """Enter a fibre, or change one."""

    model = Fibre
    form_class = FibreForm
    back = ("Fibres", "fibres")
    has_page = True
    noun = "fibre"
    lede = "One kind in one state. Lots that are in store keep the moisture they came with."
    button = "Keep the fibre"

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the figures as they are kept."""
        return explained.changed(self.reader, None if self.is_new else self.row)


@needs("fibres.change")
class FibreClose(ClosePage):
    """Remove or close a fibre."""

    model = Fibre
    noun = "fibre"
    list_route = "fibres"
