"""Pages on which a quote is drawn up, changed, and issued anew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property

from orders import quoting
from orders.explained import choosing
from orders.explained import cost as explained
from orders.forms import LONGEST_KEY
from orders.models import Commission, Quote, Sheet
from orders.quoteforms import QuoteForm
from orders.views import quotepanels as panels
from orders.views.benchquote import values_of
from orders.views.quotes import OneQuote
from orders.views.shapes import PanelRowPage, today
from studio.errors import StudioError
from studio.explaining import Explained
from studio.roles import needs

LONGEST_NUMBER = 7


class QuoteFormPage(PanelRowPage):
    """A form over a quote, with its prices beside it."""

    model = Quote
    form_class = QuoteForm
    slug_field = "ref__iexact"
    noun = "quote"
    has_page = True
    back = ("Quotes", "quotes")
    panel = "orders/quotes/_panel.html"
    panel_title = "What it comes to"
    panel_fields = ("good_quantity", "other_quantities")
    side_head = "The offer"
    note = "Nothing goes out before it is issued"

    def work_out(self, form: Any) -> Any:
        """Price it as typed, and reckon when it could leave."""
        sheet = form.new_sheet or form.cleaned_data.get("sheet") or panels.sheet_of(form.instance)
        return panels.prices(form.instance, sheet, today())

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Work it out for the address with all that it brought along, and before any typing."""
        context = super().get_context_data(**kwargs)
        form = context["form"]
        context["preview"] = self.request.get_full_path()
        if not form.is_bound and (sheet := panels.sheet_of(form.instance)) is not None:
            try:
                context["result"] = panels.prices(form.instance, sheet, today())
            except StudioError as refusal:
                context["result"] = {"refusal": str(refusal)}
        return context

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the numbers are priced, by what the panel said as the page was opened."""
        price_by, lines = self.studio.price_by, choosing.sum_shown(shown)
        return [explained.typed(price_by, lines), explained.cost_and_price(price_by)]


@needs("orders.change")
class QuoteEdit(QuoteFormPage):
    """Draw up a quote from a commission, a sheet or the Bench, or change a draft."""

    lede = "Give the numbers and the terms. The panel says what they come to at the prices of now."

    @property
    def button(self) -> str:  # type: ignore[override]
        """The words of the one filled button."""
        return "Keep the draft" if self.is_new else "Keep the changes"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form; what is issued is not changed any more."""
        if "ref" in self.kwargs and not self.row.is_draft:
            said = f"{self.row.ref} is {self.row.state_words}; it is not changed any more."
            messages.info(request, said)
            return redirect(self.row)
        return super().get(request, *args, **kwargs)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Say why nothing can be drawn up from what the address names."""
        self.request = request
        try:
            _ = self.begun
        except StudioError as refusal:
            messages.info(request, str(refusal))
            return redirect("quotes")
        return super().dispatch(request, *args, **kwargs)

    @cached_property
    def begun(self) -> tuple[Quote, Sheet | None]:
        """Return a quote, and a new sheet of the Bench, with what the address brought along."""
        if "ref" in self.kwargs:
            return get_object_or_404(quoting.quotes(), ref__iexact=self.kwargs["ref"]), None
        asked = self.request.GET
        # What was typed goes before the day that was reckoned.
        with_day = self.request.method == "GET"
        if ref := asked.get("commission", "").strip():
            rows = Commission.objects.select_related("client", "sheet__furnish", "sheet__mould")
            commission = get_object_or_404(rows, ref__iexact=ref)
            return quoting.from_commission(commission, today(), with_day=with_day), None
        if bench := values_of(asked, self.studio.units):
            return quoting.from_bench(bench.spec, bench.wanted, today())
        wanted = _number(asked.get("good_quantity", ""), LONGEST_NUMBER) or None
        key = _number(asked.get("sheet", ""), LONGEST_KEY)
        sheet = Sheet.objects.filter(pk=key, closed_on__isnull=True).first() if key else None
        if sheet is None:
            return quoting.usual(wanted, today()), None
        return quoting.from_sheet(sheet, wanted, today(), with_day=with_day), None

    @property
    def row(self) -> Quote:
        """The quote."""
        return self.begun[0]

    def get_heading(self) -> str:
        """Name what it is made from."""
        if self.is_new and self.row.commission:
            return f"New quote for {self.row.commission.ref}"
        return super().get_heading()

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form the sheet of the Bench."""
        return {**super().get_form_kwargs(), "new_sheet": self.begun[1]}

    def act(self, form: Any, key: Any) -> Quote:
        """Keep the draft."""
        keep = quoting.draft if self.is_new else quoting.change
        return keep(
            form.instance,
            new_client=form.cleaned_data.get("new_client", ""),
            new_sheet=form.new_sheet,
            by=self.request.user,
            key=key,
        )

    def said(self, result: Quote) -> str:
        """Say which number it has."""
        return f"{result.ref} is kept as a draft. Look the letter over, and issue it."


def _number(text: str, longest: int) -> int:
    """Return the number that text writes in plain digits, or 0."""
    fine = len(text) <= longest and text.isascii() and text.isdigit()
    return int(text) if fine else 0


@needs("orders.change")
class QuoteReissue(OneQuote, QuoteFormPage):
    """Issue a quote anew: the next number, the prices of now, in place of the old one."""

    button = "Issue it anew"
    note = "It goes out at once, in place of the old one"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form where there is something to issue anew."""
        if self.quote.frozen is None or self.quote.state not in ("issued", "declined"):
            messages.info(request, panels.not_out(self.quote))
            return redirect(self.quote)
        if barred := quoting.bar(self.quote):
            messages.info(request, barred)
            return redirect(self.quote)
        return super().get(request, *args, **kwargs)

    @cached_property
    def row(self) -> Quote:  # type: ignore[override]
        """Return the new issue, with what the old one said."""
        with_day = self.request.method == "GET"
        return quoting.again(self.quote, today(), with_day=with_day)

    def get_heading(self) -> str:
        """Name the old one."""
        return f"Issue {self.quote.ref} anew"

    def get_lede(self) -> str:
        """Say what becomes of both."""
        return (
            f"It gets the next number and the prices of now, and takes the place of "
            f"{self.quote.ref}."
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        """Leave client and sheet as they are."""
        return {**super().get_form_kwargs(), "reissues": True}

    def act(self, form: Any, key: Any) -> Quote:
        """Issue it anew."""
        return quoting.reissue(
            self.quote,
            form.instance,
            without_price=form.cleaned_data["without_price"],
            by=self.request.user,
            key=key,
        )

    def said(self, result: Quote) -> str:
        """Name the new one."""
        return f"{result.ref} is issued in place of {self.quote.ref}."
