"""Pages of makings: the list, one making, and its sheet for the wall."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import (
    Case,
    F,
    IntegerField,
    OuterRef,
    QuerySet,
    Subquery,
    Sum,
    When,
)
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from orders import queries, wording
from orders.calc.makingsheet import MakingSheet
from orders.explained import making as explained
from orders.makingforms import MakingFilter
from orders.makings import planning
from orders.makings.sheet import sheet_of
from orders.makingtables import MakingTable, WeighRow, WeighTable
from orders.models import Making, SheetMovement
from orders.views import costpanels, provenancepanels
from orders.views.shapes import today
from studio import roles
from studio.errors import StudioError
from studio.explaining import Explained, rows_of
from studio.lists import ListPage, house_table
from studio.pages import HousePage
from studio.qr import qr_path
from studio.roles import needs
from studio.units import (
    show_count,
    show_grammage,
    show_mass,
    show_number,
    show_size,
    show_volume,
)

State = Making.State


def makings() -> QuerySet[Making]:
    """Return makings, those that are open first, the next before the later."""
    made = (
        SheetMovement.objects.filter(
            making=OuterRef("pk"),
            kind=SheetMovement.Kind.MADE,
            quality=SheetMovement.Quality.GOOD,
        )
        .values("making")
        .annotate(all=Sum("sheets"))
        .values("all")
    )
    is_open = When(state__in=Making.OPEN, then=F("planned_on"))
    return (
        Making.objects.select_related("sheet__furnish", "commission")
        .annotate(
            good=Subquery(made),
            for_words=queries.made_for(),
            is_over=Case(
                When(state__in=Making.OPEN, then=0), default=1, output_field=IntegerField()
            ),
        )
        .order_by("is_over", Case(is_open), "-planned_on", "-pk")
    )


@needs("read")
class MakingList(ListPage):
    """Every making, what is open first."""

    template_name = "orders/makings.html"
    table_class = MakingTable
    filterset_class = MakingFilter
    heading = "Making"
    side_head = "Makings"
    note = "What is open first, then the last ones"
    export_name = "makings"

    def get_queryset(self) -> Any:
        """Return makings with their sheet."""
        return makings()

    def get_lede(self) -> str:
        """Say what runs and what comes next."""
        open_ones = list(Making.objects.filter(state__in=Making.OPEN).order_by("planned_on", "pk"))
        running = [one.ref for one in open_ones if one.state == State.AT_THE_VAT]
        waiting = [one for one in open_ones if one.state == State.PLANNED]
        said = [f"At the vat: {', '.join(running)}."] if running else []
        if waiting:
            first = waiting[0]
            said.append(f"Next is {first.ref}, on {wording.day(first.planned_on, today())}.")
        return " ".join(said) or "Nothing is at the vat, and nothing is planned."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add whether a making can be planned."""
        may_change = roles.can(self.request.user, "makings.change")
        return super().get_context_data(may_change=may_change, **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how pulls and good sheets are counted, by the rows of the list."""
        rows = rows_of(shown["table"])
        made = next((row for row in rows if row.good is not None), None)
        return [
            explained.pulls(rows[0].ref, rows[0].wanted_good, rows[0].pulls)
            if rows
            else explained.pulls(),
            explained.good_made(made.ref, show_number(made.good))
            if made
            else explained.good_made(),
        ]


class OneMaking(HousePage):
    """A page about the making that its address names."""

    kwargs: dict[str, Any]

    @cached_property
    def making(self) -> Making:
        """Return the making, read once."""
        rows = Making.objects.select_related(
            "sheet__furnish", "sheet__mould", "commission", "mould", "vat", "dryer", "repeats"
        )
        return get_object_or_404(rows, ref__iexact=self.kwargs["ref"])

    @cached_property
    def refusal(self) -> str:
        """Say why its sheet cannot be worked out; nothing where it can."""
        return self._worked_out[1]

    @property
    def sheet(self) -> MakingSheet | None:
        """Its making sheet."""
        return self._worked_out[0]

    @cached_property
    def _worked_out(self) -> tuple[MakingSheet | None, str]:
        try:
            return sheet_of(self.making, today()), ""
        except StudioError as refusal:
            return None, str(refusal)

    @property
    def may_change(self) -> bool:
        """Whether who looks may plan and log."""
        return roles.can(self.request.user, "makings.change")


@needs("read")
class MakingPage(OneMaking, TemplateView):
    """One making: how it stands, what it takes, and where its pages are."""

    template_name = "orders/making.html"
    back = ("Making", "makings")

    def get_heading(self) -> str:
        """Return reference and sheet."""
        return f"Making {self.making.ref}"

    def get_lede(self) -> str:
        """Say what is made of what, on which day."""
        making = self.making
        when = wording.day(making.planned_on, today())
        good = f"{show_number(making.wanted_good)} good of {making.sheet.name}"
        pulls = f"{show_count(making.pulls, 'pull')}{self._few_words()}"
        said = {
            State.PLANNED: f"Planned for {when}: {good}, in {pulls}.",
            State.AT_THE_VAT: f"At the vat: {good}, in {pulls}.",
            State.FINISHED: f"Finished: {good} were wanted.",
            State.GIVEN_UP: f"Given up. Nothing in the store has moved. It was to be {good}.",
        }[State(making.state)]
        lacks = self.sheet.missing if self.sheet else ()
        if not lacks:
            return said
        missing = " and ".join(
            f"{wording.exact(lack.oven_dry_mg, self.studio.units)} oven-dry of {lack.fibre}"
            for lack in lacks
        )
        return f"{said} Missing: {missing}."

    def _few_words(self) -> str:
        """Say how many good sheets its pulls give, where that is fewer than are wanted."""
        if not self.sheet:
            return ""
        good = planning.good_on_average(self.sheet.forming.asked.spec, self.making.pulls)
        give = "gives" if self.making.pulls == 1 else "give"
        few = good < self.making.wanted_good
        return f", which {give} about {show_number(good)}" if few else ""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the facts, what is weighed out, and the sum."""
        making, sheet, system = self.making, self.sheet, self.studio.units
        rows = [WeighRow.of(row) for row in sheet.weigh] if sheet else []
        made = (
            making.sheet_movements.filter(kind=SheetMovement.Kind.MADE)
            .values_list("quality")
            .annotate(all=Sum("sheets"))
            .order_by("quality")
        )
        return super().get_context_data(
            making=making,
            facts=self._facts(),
            tools=self._tools(),
            sheet=sheet,
            refusal=self.refusal,
            figures=self._figures(dict(made)),
            weigh_table=house_table(
                self.request, WeighTable, rows, paginate=False, over=not making.is_open
            ),
            lines=sheet.forming.lines(system) if sheet else (),
            vat_words=sheet.vat_words(system) if sheet else (),
            load_words=sheet.load_words(system) if sheet else (),
            may_change=self.may_change,
            **provenancepanels.from_where(
                self.request, [making], claim=provenancepanels.claim_of(making.commission)
            ),
            **provenancepanels.compared(self.request, making, sheet),
            **(costpanels.of_making(self.request, making) if self.sees_money else {}),
            **kwargs,
        )

    def _facts(self) -> list[tuple[str, ...]]:
        making, sheet = self.making, self.making.sheet
        commission = making.commission
        who = (
            ("For", f"{commission.ref} {commission.title}", commission.get_absolute_url())
            if commission
            else ("For", "The studio itself")
        )
        size = show_size(sheet.size, system=self.studio.units)
        return [
            who,
            ("Sheet", sheet.name, sheet.get_absolute_url()),
            ("Size", f"{size}, {show_grammage(sheet.grammage)}"),
            ("Furnish", sheet.furnish.name, sheet.furnish.get_absolute_url()),
            ("Remarks", making.remarks),
        ]

    def _tools(self) -> list[tuple[str, ...]]:
        making, sheet = self.making, self.sheet
        minutes = making.beaten_minutes
        return [
            ("Day at the vat", wording.day(making.planned_on, today())),
            ("Mould", making.mould.name if making.mould else "None chosen"),
            ("Vat", making.vat.name if making.vat else "None chosen"),
            ("Drying", str(making.get_drying_display())),
            ("Dryer", (sheet.dryer_words if sheet else "") or "None chosen"),
            ("Beat for", f"{minutes} minutes" if minutes else ""),
        ]

    def _figures(self, made: dict[str, int]) -> list[tuple[str, ...]]:
        making, sheet = self.making, self.sheet
        good, retree = (made.get(quality) for quality in ("good", "retree"))
        rows = [_counted("Good wanted", making.wanted_good, "sheet")]
        if making.state == State.FINISHED:
            return [
                *rows,
                _counted("Good made", good or 0, "sheet"),
                _counted("Retree", retree or 0, "sheet"),
            ]
        rows.append(_counted("To form", making.pulls, "pull"))
        if sheet:
            system = self.studio.units
            trial = sheet.trial_words(system)
            rows += [
                ("Fibre to prepare", show_mass(sheet.forming.total_mg, system=system), ""),
                ("A dry sheet", trial.dry, ""),
                ("Couched, about", trial.wet, ""),
            ]
        return rows

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what the making takes, or what came of it."""
        return explained.of_page(shown, self.studio)


def _counted(label: str, number: int, noun: str) -> tuple[str, ...]:
    """Return a figure with its noun: "120 sheets", "1 sheet"."""
    return (label, show_number(number), noun if number == 1 else f"{noun}s")


@needs("read")
class MakingSheetPage(OneMaking, TemplateView):
    """The making sheet for the wall: one page of A4 or letter paper."""

    template_name = "orders/making_sheet.html"

    def get_back(self) -> tuple[str, str]:
        """Lead back to the making."""
        return (f"Making {self.making.ref}", self.making.get_absolute_url())

    def get_heading(self) -> str:
        """Return the name of the page."""
        return f"Making sheet {self.making.ref}"

    def get_lede(self) -> str:
        """Say what it is for."""
        return "The whole run on one page for the wall. Scan its code to log the run on a phone."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the sheet and the symbol that opens the log."""
        log = reverse("making_log", args=[self.making.ref])
        path, side = qr_path(self.request.build_absolute_uri(log))
        sheet, system = self.sheet, self.studio.units
        return super().get_context_data(
            making=self.making,
            sheet=sheet,
            refusal=self.refusal,
            log=log,
            path=path,
            side=side,
            may_change=self.may_change,
            trial=sheet.trial_words(system) if sheet else None,
            vat_words=sheet.vat_words(system) if sheet else (),
            load_words=sheet.load_words(system) if sheet else (),
            stuff=show_volume(sheet.forming.stuff, system=system, places=1) if sheet else "",
            water=show_volume(sheet.water, system=system, places=1) if sheet else "",
            blocks=(
                [(block.first, block.last, block.scoops(system)) for block in sheet.blocks]
                if sheet
                else ()
            ),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the figures on the wall are worked out."""
        sheet, system = self.sheet, self.studio.units
        return [
            explained.to_prepare(sheet.forming.lines(system) if sheet else ()),
            explained.weigh_out(sheet.weigh if sheet else (), system),
            explained.stuff(sheet, system),
            explained.consistency(sheet, system),
            explained.trial_sheet(sheet, system),
        ]
