"""What is done in a count of the store: begin it, weigh a lot, post it, give it up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property

from fibres import stocktaking, weighing
from fibres.calc import moisture as wet
from fibres.explained import counting as explained
from fibres.forms.stocktakes import AddLotForm, BeginForm, CountForm, PostForm
from fibres.models import CountLine, Stocktake
from fibres.views.stocktakes import OneStocktake
from studio.explaining import Explained
from studio.forms import HouseForm
from studio.pages import FormPage
from studio.roles import needs
from studio.units import show_mass, show_share
from studio.working import Line


@needs("store.count")
class StocktakeBegin(FormPage):
    """Begin to count a place, or everything."""

    form_class = BeginForm
    heading = "Begin a count"
    lede = "Weigh what lies there lot by lot, on a phone or on paper. Nothing moves meanwhile."
    side_head = "What is counted"
    note = "Place by place is easier than all at once"
    back = ("Counts", "stocktakes")
    button = "Begin the count"

    def get_initial(self) -> dict[str, Any]:
        """Take the place from the page that leads here."""
        return {"place": self.request.GET.get("place", "")}

    def act(self, form: Any, key: Any) -> Stocktake:
        """Begin it."""
        given = form.cleaned_data
        return stocktaking.begin(
            given["place"], remarks=given["remarks"], by=self.request.user, key=key
        )


class OpenOnly:
    """A form about a count that goes on; where it is over there is nothing to enter."""

    request: HttpRequest
    stocktake: Stocktake

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead back to a count that is over; what is sent is answered by the act itself."""
        if request.method == "GET" and not self.stocktake.is_open:
            state = str(self.stocktake.get_state_display()).lower()
            messages.info(request, f"{self.stocktake.ref} is {state}: there is nothing to enter.")
            return redirect(self.stocktake)
        response: HttpResponse = super().dispatch(request, *args, **kwargs)  # type: ignore[misc]
        return response


@needs("store.count")
class CountLot(OpenOnly, FormPage):
    """Weigh one lot."""

    form_class = CountForm
    template_name = "fibres/count_lot.html"
    button = "Keep it"
    panel = "fibres/_sum_panel.html"
    side_head = "On the scale"
    note = "Nothing moves before the count is posted"

    @cached_property
    def line(self) -> CountLine:
        """Return the line of the count, read once."""
        lines = CountLine.objects.select_related("stocktake", "lot__fibre")
        return get_object_or_404(lines, pk=self.kwargs["pk"])

    @property
    def stocktake(self) -> Stocktake:
        """The count."""
        return self.line.stocktake

    def get_back(self) -> tuple[str, str]:
        """Lead back to the count."""
        return (f"Count {self.stocktake.ref}", self.stocktake.get_absolute_url())

    def get_heading(self) -> str:
        """Name the lot."""
        return f"Weigh {self.line.lot.ref} {self.line.lot.fibre.name}"

    def get_lede(self) -> str:
        """Say where it lies, in what form, and what the scale said before."""
        lot, line = self.line.lot, self.line
        told = ", ".join(filter(None, [lot.place, lot.form.lower()]))
        opening = f"{told[:1].upper()}{told[1:]}. " if told else ""
        if line.as_is_mg is None:
            return f"{opening}Weigh it as it is, with its water."
        mass = show_mass(line.as_is_mg, system=self.studio.units)
        return f"{opening}It was weighed at {mass}; what is entered here takes its place."

    def get_form_kwargs(self) -> dict[str, Any]:
        """Tell the form of the lot."""
        return {**super().get_form_kwargs(), "lot": self.line.lot}

    def get_initial(self) -> dict[str, Any]:
        """Start from what was weighed before."""
        line = self.line
        if line.as_is_mg is None:
            return {}
        sampled = line.reason != CountLine.Reason.DRIED and line.moisture != line.lot.moisture
        return {
            "mass": line.as_is_mg,
            "reason": line.reason,
            "moisture": line.moisture if sampled else None,
            "note": line.note,
        }

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out what the scale says beside the book."""
        given, lot, system = form.cleaned_data, self.line.lot, self.studio.units
        weighed = weighing.reckon(
            lot, as_is_mg=given["mass"], moisture=given["moisture"], reason=given["reason"]
        )
        change = weighed.difference_mg
        sign = "+" if change > 0 else ""
        book = wet.as_is_mg(lot.oven_dry_mg, lot.moisture)
        return {
            "lines": [
                Line("As it stands", show_mass(weighed.as_is_mg, system=system)),
                Line("Moisture", show_share(weighed.moisture), _because(given)),
                Line("Oven-dry", show_mass(weighed.oven_dry_mg, system=system), kind="line"),
                Line(
                    "In the book",
                    show_mass(lot.oven_dry_mg, system=system),
                    f"{show_mass(book, system=system)} as is at {show_share(lot.moisture)}",
                ),
                Line("Difference", f"{sign}{show_mass(change, system=system)}", kind="answer"),
            ]
        }

    def act(self, form: Any, key: Any) -> str:
        """Keep it, and lead on to the place of the lot in the list."""
        given = form.cleaned_data
        stocktaking.count_lot(
            self.stocktake,
            self.line.lot,
            as_is_mg=given["mass"],
            moisture=given["moisture"],
            reason=given["reason"],
            note=given["note"],
            by=self.request.user,
            key=key,
        )
        return f"{self.stocktake.get_absolute_url()}#{self.line.lot.ref}"

    def said(self, result: str) -> str:
        """Say that it is kept."""
        return f"{self.line.lot.ref} is weighed."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what the scale says beside the book."""
        return explained.on_the_scale(self.reader, self.line.lot)


def _because(given: Mapping[str, Any]) -> str:
    """Say where the moisture of what was weighed comes from."""
    if given["reason"] == CountLine.Reason.DRIED:
        return "reckoned from the fibre in the book"
    return "as in the book" if given["moisture"] is None else "of the sample"


class StocktakeAct(OpenOnly, OneStocktake, FormPage):
    """A form about one count that leads back to it."""


@needs("store.count")
class StocktakeAdd(StocktakeAct):
    """Take in a lot that lies here and is not on the list."""

    form_class = AddLotForm
    heading = "Another lot lies here"
    lede = "The book has it elsewhere, without a place, or used up."
    side_head = "The lot"
    note = "Once posted, the book has it here"
    button = "Weigh it"

    def act(self, form: Any, key: Any) -> str:
        """Add it, and lead on to the scale."""
        line = stocktaking.add_lot(
            self.stocktake, form.cleaned_data["ref"], by=self.request.user, key=key
        )
        return reverse("countline", args=[line.pk])


@needs("store.count")
class StocktakePost(StocktakeAct):
    """Bring the book in line with what was weighed."""

    form_class = PostForm
    button = "Post the count"
    side_head = "To the book"
    note = "All of it in one entry, or nothing"

    def get_heading(self) -> str:
        """Name the count."""
        return f"Post {self.stocktake.ref}"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead back, with the reason, who may not post this count."""
        if self.left_to_owner:
            messages.info(request, self.left_to_owner)
            return redirect(self.stocktake)
        response: HttpResponse = super().get(request, *args, **kwargs)
        return response

    @property
    def not_weighed(self) -> list[str]:
        """The lots that nobody weighed."""
        return [row.lot.ref for row in self.lines if not row.is_weighed]

    def get_form_kwargs(self) -> dict[str, Any]:
        """Ask about the lots that were not weighed."""
        return {**super().get_form_kwargs(), "not_weighed": len(self.not_weighed)}

    def get_lede(self) -> str:
        """Say what will be posted, and what is left as it is."""
        weighed = [row for row in self.lines if row.is_weighed]
        change = sum(row.difference_mg or 0 for row in weighed)
        lots = "1 lot" if len(weighed) == 1 else f"{len(weighed)} lots"
        mass = show_mass(abs(change), system=self.studio.units)
        what = f"{mass} oven-dry {'more' if change > 0 else 'less'}" if change else "no difference"
        told = f"{lots} weighed: {what}."
        rest = self.not_weighed
        return f"{told} Not weighed: {', '.join(rest)}." if rest else told

    def act(self, form: Any, key: Any) -> Stocktake:
        """Post it."""
        return stocktaking.post(self.stocktake, by=self.request.user, key=key)

    def said(self, result: Stocktake) -> str:
        """Say that the book is right now."""
        return f"{result.ref} is posted. The book has what was weighed."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what will be posted."""
        return explained.posted(self.reader, self.lines)


@needs("store.count")
class StocktakeGiveUp(StocktakeAct):
    """Leave a count without posting it."""

    form_class = HouseForm
    button = "Give it up"
    side_head = "The count"
    note = "What was weighed can still be read"
    lede = "Nothing is posted, and the store stays as the book has it."

    def get_heading(self) -> str:
        """Name the count."""
        return f"Give up {self.stocktake.ref}"

    def act(self, form: Any, key: Any) -> Stocktake:
        """Give it up."""
        return stocktaking.give_up(self.stocktake, by=self.request.user, key=key)
