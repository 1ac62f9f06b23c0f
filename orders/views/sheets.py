"""Pages of sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.generic import TemplateView

from fibres.models import FurnishPart
from fibres.wording import furnish_in_words
from orders import asking, learning, queries, snapshot, wording, workings
from orders.askingforms import ByDay
from orders.explained import choosing
from orders.explained import sheets as explained
from orders.filters import SheetFilter
from orders.forms import SheetForm
from orders.makingtables import MakingTable
from orders.models import Sheet
from orders.tables import CommissionTable, SheetTable
from orders.views.makings import makings
from orders.views.shapes import PanelRowPage, covers_now, today
from studio import roles
from studio.errors import StudioError
from studio.explaining import Explained, first_of
from studio.lists import ListPage, house_table
from studio.models import Mould, Studio
from studio.pages import ClosePage, HousePage
from studio.roles import needs
from studio.sizes import Size
from studio.units import show_grammage, show_length, show_number, show_share, show_size


@needs("read")
class SheetList(ListPage):
    """Every sheet that is made, or was."""

    template_name = "orders/sheets.html"
    table_class = SheetTable
    filterset_class = SheetFilter
    heading = "Sheets"
    lede = "What is made: size, grammage, furnish, and what is lost on the way to a good sheet."
    export_name = "sheets"

    def get_queryset(self) -> Any:
        """Return sheets with furnish and mould."""
        return queries.sheets()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add whether a sheet can be entered."""
        may_change = roles.can(self.request.user, "sheets.change")
        return super().get_context_data(may_change=may_change, **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what a sheet holds, by the first of the list."""
        first = first_of(shown["table"])
        said = [
            explained.open_for(first.name, first.open_commissions)
            if first
            else explained.open_for()
        ]
        if first:
            said.append(explained.fibre_of(first, self.studio.sheet_moisture, self.studio.units))
        return said


def work_of(sheet: Sheet, studio: Studio) -> workings.SheetWork:
    """Reckon a sheet as it is kept or as it is typed."""
    spec = snapshot.spec_of(sheet, studio, snapshot.read_shrinkages())
    moulds = Mould.objects.filter(closed_on__isnull=True)
    return workings.sheet_work(spec, moulds=moulds, mould=sheet.mould, system=studio.units)


@dataclass(frozen=True, slots=True)
class Question:
    """How many more of a sheet could be promised: the form, and the answer once it is asked."""

    form: ByDay
    said: tuple[str, ...] = ()

    @classmethod
    def of(cls, given: QueryDict, sheet: Sheet) -> Question:
        """Answer what an address asks; without a day nothing is worked out."""
        day = today()
        if "by" not in given:
            return cls(ByDay(initial={"by": asking.usual_day(day)}))
        form = ByDay(given)
        if not form.is_valid():
            return cls(form)
        try:
            asked = asking.ask(sheet, form.cleaned_data["by"], day)
        except StudioError as refusal:
            return cls(form, (str(refusal),))
        soon = asked.is_too_soon
        more = asked.good_sheets()
        said = [wording.how_many_more(more, asked.name, asked.by, day, is_too_soon=soon)]
        if soon:
            said.append(wording.too_soon(asked.ready_by, day))
        return cls(form, tuple(said))


@needs("read")
class SheetPage(HousePage, TemplateView):
    """A sheet: its facts, its sum, and who wants it."""

    template_name = "orders/sheet.html"
    back = ("Sheets", "sheets")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the sheet with its working and its commissions."""
        rows = Sheet.objects.select_related("furnish", "mould")
        sheet = get_object_or_404(rows, pk=self.kwargs["pk"])
        work, refusal = None, ""
        try:
            work = work_of(sheet, self.studio)
        except StudioError as fault:
            refusal = str(fault)
        question = None if sheet.is_closed else Question.of(self.request.GET, sheet)
        commissions = queries.commissions_for(self.request.user).filter(sheet=sheet)
        table = house_table(
            self.request,
            CommissionTable,
            commissions.order_by("-due", "ref"),
            covers=covers_now(),
            nothing="No commission asks for this sheet yet.",
        )
        return super().get_context_data(
            sheet=sheet,
            work=work,
            refusal=refusal,
            facts=sheet_facts(sheet, self.studio),
            losses=loss_facts(sheet),
            question=question,
            form=question.form if question and question.form.is_bound else None,
            table=table,
            made=house_table(
                self.request,
                MakingTable,
                makings().filter(sheet=sheet),
                prefix="makings-",
                nothing="It has not been made yet.",
            ),
            heading=sheet.name,
            lede=_lede(sheet, self.studio),
            may_change=roles.can(self.request.user, "sheets.change"),
            may_order=roles.can(self.request.user, "orders.change") and not sheet.is_closed,
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the sum of the page goes, and how many more there could be."""
        lines = shown["work"].lines if shown["work"] else ()
        said = [
            explained.fibre_in_one(lines),
            explained.pulls(lines),
            explained.into_the_vat(lines),
        ]
        said.append(explained.mould(lines))
        return [*said, explained.how_many_more()] if shown["question"] else said


def _lede(sheet: Sheet, studio: Studio) -> str:
    closed = "Closed: kept for its history and hidden from choices. " if sheet.is_closed else ""
    size = show_size(sheet.size, system=studio.units)
    grammage = show_grammage(sheet.grammage)
    return f"{closed}{size} at {grammage}, of {sheet.furnish.name}."


def sheet_facts(sheet: Sheet, studio: Studio) -> list[tuple[str, ...]]:
    """Return what the sheet is, label by label."""
    moisture = studio.sheet_moisture if sheet.sheet_moisture is None else sheet.sheet_moisture
    mould = sheet.mould
    return [
        ("Size", show_size(sheet.size, system=studio.units)),
        ("Grammage", f"{show_grammage(sheet.grammage)} at {show_share(moisture)} moisture"),
        ("Edges", _edges(sheet, studio)),
        (
            "Mould",
            f"{mould.name}, {show_size_of(mould, studio)}" if mould else "None chosen yet",
        ),
        ("Drying", str(sheet.get_drying_display())),
    ]


def show_size_of(mould: Mould, studio: Studio) -> str:
    """Word the opening of a mould."""
    return show_size(Size(mould.width_um, mould.height_um), system=studio.units)


def _edges(sheet: Sheet, studio: Studio) -> str:
    if sheet.edges == Sheet.Edges.TRIMMED and sheet.trim_um:
        trim = show_length(sheet.trim_um, system=studio.units)
        return f"{sheet.get_edges_display()}, {trim} off each side"
    return str(sheet.get_edges_display())


def loss_facts(sheet: Sheet) -> list[tuple[str, ...]]:
    """Return what the sheet is made of and what is lost, label by label."""
    return [
        ("Furnish", furnish_words(sheet.furnish_id), sheet.furnish.get_absolute_url()),
        ("Not fibre", show_share(sheet.non_fibre_share)),
        *_with_origins(sheet),
    ]


def _with_origins(sheet: Sheet) -> list[tuple[str, ...]]:
    """Return the losses and the minutes, each with where it comes from."""
    origins = learning.sheet_origins(sheet)
    minutes = sheet.minutes_per_pull
    words = {
        "retention": (
            "Stays on the mould",
            f"{show_share(sheet.retention)} of what is in the vat",
        ),
        "broke": ("Broke", show_share(sheet.broke)),
        "retree": ("Retree", show_share(sheet.retree)),
        "minutes_per_pull": (
            "A pull takes",
            "" if minutes is None else f"{show_number(minutes)} minutes",
        ),
    }
    return [
        (label, f"{figure}, {origins[name]}") for name, (label, figure) in words.items() if figure
    ]


def furnish_words(furnish_id: int) -> str:
    """Name the fibres of a furnish with their shares."""
    parts = (
        FurnishPart.objects.filter(furnish_id=furnish_id)
        .select_related("fibre")
        .prefetch_related("substitutes")
        .order_by("-share", "pk")
    )
    return furnish_in_words(parts) or "No fibre yet"


@needs("sheets.change")
class SheetEdit(PanelRowPage):
    """Enter or change a sheet, with what it comes to beside the form."""

    model = Sheet
    form_class = SheetForm
    noun = "sheet"
    back = ("Sheets", "sheets")
    lede = "Give the dry, finished sheet. What is lost on the way is counted from it."
    button = "Keep the sheet"
    panel = "orders/_sheet_panel.html"
    panel_title = "What it comes to"
    panel_waits = True
    waits = (
        "edges", "mould", "trim_um", "drying", "sheet_moisture", "non_fibre_share", "retention",
        "broke", "retree", "minutes_per_pull", "setup_minutes",
    )  # fmt: skip
    panel_fields = (
        "size", "grammage", "furnish", "edges", "drying", "non_fibre_share", "retention",
        "broke", "retree",
    )  # fmt: skip

    def get_initial(self) -> dict[str, Any]:
        """Take the furnish that a link brought along."""
        asked = self.request.GET.get("furnish") if self.is_new else None
        return {**super().get_initial(), **({"furnish": asked} if asked else {})}

    def work_out(self, form: Any) -> Any:
        """Reckon the sheet as it is typed."""
        return work_of(form.instance, self.studio)

    def after(self, row: Any) -> str:
        """Go to the page of the sheet."""
        return reverse("sheet", args=[row.pk])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Work out a sheet that is kept already before anything is typed."""
        context = super().get_context_data(**kwargs)
        if not context["form"].is_bound and not self.is_new:
            try:
                context["result"] = work_of(self.row, self.studio)
            except StudioError as refusal:
                context["result"] = {"refusal": str(refusal)}
        return {**context, "side_head": "The sheet", "note": "And what is lost on the way"}

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the panel is worked out, by what it said as the page was opened."""
        lines = choosing.sum_shown(shown)
        return [
            explained.fibre_in_one(lines),
            explained.pulls(lines),
            explained.into_the_vat(lines),
            explained.mould(lines),
        ]


@needs("sheets.change")
class SheetClose(ClosePage):
    """Remove or close a sheet."""

    model = Sheet
    noun = "sheet"
    list_route = "sheets"
