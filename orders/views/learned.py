"""Learned figures: what makings show, and the one act of taking a figure over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from orders import learning
from orders import learningwording as wording
from orders.explained import learned as explained
from orders.learning.figures import SHARES_OF_SHEETS, SHRINKAGES, Figure, LearnedFigure, Page
from orders.learning.origins import makings_in_words
from orders.learning.taking import as_kept
from orders.learningtables import (
    FigureRow,
    FigureTable,
    LeftOutRow,
    LeftOutTable,
    SeenRow,
    SeenTable,
    TakenRow,
    TakenTable,
)
from orders.models import AcceptedFigure
from studio import roles
from studio.explaining import Explained
from studio.forms import HouseForm
from studio.lists import house_table
from studio.pages import FormPage, HousePage
from studio.roles import needs
from studio.templatetags.studio import day as day_words
from studio.working import Line

# Head, note, and the figures that stand under it.
GROUPS = (
    ("Fibres", "Left after preparation", (Figure.YIELD,)),
    (
        "Sheets",
        "What stays, what is good, how long it takes",
        (Figure.RETENTION, *SHARES_OF_SHEETS, Figure.MINUTES),
    ),
    ("Moulds", "From sheets that were weighed", (Figure.DRAW,)),
    ("Shrinkage", "By furnish and drying, from sheets that were measured", SHRINKAGES),
)


class Learning(HousePage):
    """What every page about learned figures shares."""

    def get_back(self) -> tuple[str, str]:
        """Lead the owner back to the studio's figures, everybody else to the makings."""
        if roles.can(self.request.user, "studio.change"):
            return "Studio", reverse("studio")
        return "Making", reverse("makings")

    @cached_property
    def learned(self) -> Page:
        """Return what makings show, learned once a request."""
        return learning.learn()

    @property
    def may_take_over(self) -> bool:
        """Whether who looks may put a learned figure in place."""
        return roles.can(self.request.user, "studio.change")


@needs("read")
class LearnedFigures(Learning, TemplateView):
    """Every figure that finished makings show, beside what it stands at."""

    template_name = "orders/learned.html"
    heading = "Learned figures"

    def get_lede(self) -> str:
        """Say what waits to be taken over."""
        page = self.learned
        if not page.makings:
            return "No making is finished yet. The first one that is will show figures here."
        waiting = sum(found.can_be_taken_over for found in page.figures)
        shown = f"{makings_in_words(page.makings).capitalize()} finished."
        if not waiting:
            return f"{shown} Nothing waits to be taken over."
        figures = "One figure differs" if waiting == 1 else f"{waiting} figures differ"
        return (
            f"{shown} {figures} from what stands. Nothing changes until the owner takes it over."
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add a table for each kind of figure."""
        groups = [self._group(*group) for group in GROUPS]
        left = [LeftOutRow(*row) for row in self.learned.left_out]
        return super().get_context_data(
            groups=groups,
            left_out=house_table(self.request, LeftOutTable, left, prefix="left-")
            if left
            else None,
            apart=wording.APART,
            how_culls=wording.HOW_CULLS,
            **kwargs,
        )

    def _group(
        self, head: str, note: str, figures: tuple[Figure, ...]
    ) -> tuple[str, str, FigureTable]:
        rows = [self._row(found) for found in self.learned.figures if found.figure in figures]
        table = house_table(
            self.request, FigureTable, rows, prefix=f"{head.lower()}-", caption=head
        )
        return head, note, table

    def _row(self, found: LearnedFigure) -> FigureRow:
        system = self.studio.units
        return FigureRow(
            figure=found.figure.label,
            of=f"{found.name}; {wording.rests_on(found, system=system)}".rstrip("; "),
            address=reverse("learned_figure", args=[found.figure.value, found.slug]),
            stands=wording.stands(found, system=system),
            origin=wording.origin(found),
            value=wording.show(found.figure, found.value, system=system),
            makings=f"from {makings_in_words(found.makings)}",
            within=wording.within(found, system=system),
            varies=wording.varies(found, system=system),
            mark=wording.mark(found),
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how figures are learned, each kind by its first."""
        return explained.of_page(self.learned.figures, self.studio.units)


class OneFigure(Learning):
    """A page about one learned figure of one fibre, sheet, mould or furnish."""

    kwargs: dict[str, Any]

    @cached_property
    def found(self) -> LearnedFigure:
        """Return the figure that the address names."""
        found = self.learned.find(self.kwargs["figure"], self.kwargs["subject"])
        if found is None:
            raise Http404
        return found

    def get_back(self) -> tuple[str, str]:
        """Lead back to all figures."""
        return "Learned figures", reverse("learned")

    def get_heading(self) -> str:
        """Name the figure and what it is of."""
        return f"{self.found.figure.label}: {self.found.name}"

    def lines(self) -> list[Line]:
        """Set out how the figure is come by."""
        found, system = self.found, self.studio.units
        lines = [Line("It stands at", wording.stands(found, system=system), wording.origin(found))]
        if found.low is not None:
            lines += [
                Line(
                    "Makings vary by",
                    wording.show(found.figure, found.deviation, system=system),
                    "standard deviation, from one making to another",
                ),
                Line(
                    "The mean lies within",
                    wording.within(found, system=system),
                    "19 times of 20, by how makings differ",
                ),
            ]
        value = wording.show(found.figure, found.value, system=system)
        because = wording.rests_on(found, system=system)
        label = f"Mean of {makings_in_words(found.makings)}"
        return [*lines, Line(label, value, because, "answer")]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the sum and the makings behind it."""
        found, system = self.found, self.studio.units
        seen = [
            SeenRow(one.ref, one.address, wording.show(found.figure, one.value, system=system),
                    one.of or None)
            for one in found.seen
        ]  # fmt: skip
        return super().get_context_data(
            found=found,
            lines=self.lines(),
            seen=house_table(self.request, SeenTable, seen, prefix="seen-"),
            used_for=wording.used_for(found.figure),
            apart=wording.APART if found.figure in (Figure.YIELD, Figure.RETENTION) else "",
            how_culls=wording.HOW_CULLS if found.figure in SHARES_OF_SHEETS else "",
            taken=self._taken(),
            may_take_over=self.may_take_over and found.can_be_taken_over,
            subject_page=self._subject_page(),
            **kwargs,
        )

    def _subject_page(self) -> str:
        """Return where the figure stands, for who may go there."""
        if self.found.figure == Figure.DRAW and self.may_take_over:
            return reverse("mould", args=[self.found.subject.split()[1]])
        return self.found.page

    def _taken(self) -> TakenTable | None:
        """Return what was taken over before, the last first."""
        found, system = self.found, self.studio.units
        rows = [
            TakenRow(
                day_words(row.entry.recorded_at),
                wording.show(found.figure, row.value, system=system),
                wording.show(found.figure, row.before or None, system=system),
                row.makings,
                row.entry.who,
            )
            for row in AcceptedFigure.objects.filter(figure=found.figure, subject=found.subject)
            .select_related("entry__by")
            .order_by("-pk")
        ]
        return house_table(self.request, TakenTable, rows, prefix="taken-") if rows else None

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how this figure is learned."""
        return explained.of_one(self.found, shown["lines"], self.studio.units)


@needs("read")
class LearnedFigurePage(OneFigure, TemplateView):
    """One figure with the makings behind it."""

    template_name = "orders/learned_figure.html"

    def get_lede(self) -> str:
        """Say what the makings show, or why it cannot be taken over."""
        found, system = self.found, self.studio.units
        value = wording.show(found.figure, found.value, system=system)
        shown = f"{makings_in_words(found.makings).capitalize()} say {value}."
        if found.makings == 1:
            shown = f"One making says {value}."
        return f"{shown} {found.refusal}".strip()


class TakeOverForm(HouseForm):
    """The figure as the page showed it, and what it takes the place of."""

    value = forms.CharField(max_length=30, widget=forms.HiddenInput)
    stands = forms.CharField(max_length=30, required=False, widget=forms.HiddenInput)


@needs("studio.change")
class LearnedAccept(OneFigure, FormPage):
    """Take a learned figure over: the owner's act, and the only way it comes into use."""

    form_class = TakeOverForm
    template_name = "orders/learned_accept.html"
    button = "Take it over"
    side_head = "The figure"
    note = "As it stands, and as makings show it"

    def get_back(self) -> tuple[str, str]:
        """Lead back to the figure."""
        found = self.found
        return "The figure", reverse("learned_figure", args=[found.figure.value, found.slug])

    def get_lede(self) -> str:
        """Say what changes."""
        return self.found.refusal or wording.used_for(self.found.figure)

    def get_initial(self) -> dict[str, str]:
        """Carry the figures that the page shows."""
        return {"value": as_kept(self.found.value), "stands": as_kept(self.found.stands)}

    def act(self, form: forms.Form, key: Any) -> str:
        """Put the figure in place."""
        given = form.cleaned_data
        learning.accept(
            self.kwargs["figure"],
            self.kwargs["subject"],
            value=given["value"],
            stands=given["stands"],
            by=self.request.user,
            key=key,
        )
        return str(self.get_back()[1])

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Show the figures as they are now, so that the next sending takes over what is shown."""
        for known in ("learned", "found"):
            self.__dict__.pop(known, None)
        form.data = {**form.data.dict(), **self.get_initial()}
        return super().form_invalid(form)

    def said(self, result: Any) -> str:
        """Say that it is in use."""
        return "Taken over. Everything is reckoned with it from now on."
