"""Pages of quotes: the list, one quote on paper, and what is done to it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.decorators import method_decorator
from django.utils.functional import cached_property
from django.views import View
from django.views.decorators.http import require_POST
from django.views.generic import TemplateView

from orders import quoting
from orders.explained import cost as explained
from orders.models import Commission, Quote
from orders.quoteforms import AcceptForm, DeclineForm, IssueForm, QuoteFilter
from orders.quotetables import QuoteTable
from orders.views import quotepanels as panels
from orders.views.shapes import today
from studio import outages
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.explaining import Explained
from studio.lists import ListPage
from studio.pages import FormPage, HousePage
from studio.roles import needs

NOT_ISSUED = (
    "Not issued: the database could not take the entry just now. Issue it once more in a moment."
)
STALE = "Not issued: this page was sent without its key. Look it over and issue it once more."


@needs("money")
class QuoteList(ListPage):
    """Every quote, each as it was issued."""

    template_name = "orders/quotes/list.html"
    table_class = QuoteTable
    filterset_class = QuoteFilter
    heading = "Quotes"
    lede = "What was offered, to whom, and until when. Each keeps the prices of its own day."
    back = ("Commissions", "commissions")
    export_name = "quotes"
    export_need = "money"
    note = "The last first"

    def get_queryset(self) -> Any:
        """Return quotes, the last first."""
        return quoting.quotes()

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what the prices are, by the first quote that was issued."""
        return [explained.offers(shown["table"])]


class OneQuote:
    """What the pages of one quote share."""

    kwargs: dict[str, Any]

    @cached_property
    def quote(self) -> Quote:
        """Return the quote that the address names."""
        found: Quote = get_object_or_404(quoting.quotes(), ref__iexact=self.kwargs["ref"])
        return found

    def get_back(self) -> tuple[str, str]:
        """Lead back to the quote."""
        return (str(self.quote), self.quote.get_absolute_url())


@needs("money")
class QuotePage(OneQuote, HousePage, TemplateView):
    """One quote as it goes, or went, to the client, with its working for the owner."""

    template_name = "orders/quotes/quote.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show what was frozen; a draft is reckoned with the prices of now."""
        quote, bar = self.quote, quoting.bar(self.quote)
        context: dict[str, Any] = {
            "quote": quote,
            "back": ("Quotes", panels.list_address()),
            "heading": f"Quote {quote.ref}",
            "replaced_by": Quote.objects.filter(replaces=quote.pk).first(),
            "changes": quoting.sheet_changes(quote) if quote.is_issued else "",
            "claim": quoting.claim_doubt(quote) if quote.is_draft else "",
            "bar": bar if quote.is_draft or quote.is_issued else "",
            "may_reissue": not bar,
        }
        try:
            found = quoting.shown(quote, today())
        except StudioError as refusal:
            context["refusal"] = str(refusal)
        else:
            context |= {
                "found": found,
                "workings": panels.workings(found),
                "missing": " and ".join(found.missing),
            }
            if quote.is_draft and not context["bar"]:
                context["issue_key"] = uuid.uuid4()
        context["lede"] = panels.lede(quote, context.get("refusal", ""), context["bar"])
        return super().get_context_data(**context, **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what the quote comes to; its working stands on the page for each number."""
        found = shown.get("found")
        if found is None:
            return []
        costed = explained.cost_and_price(self.studio.price_by, found.chosen.working)
        return [explained.offered(found), costed]


@needs("orders.change")
@method_decorator(require_POST, name="dispatch")
class QuoteIssue(View):
    """Issue a draft."""

    def post(self, request: HttpRequest, ref: str) -> HttpResponse:
        """Freeze it, or say why not, and go back to it."""
        quote = get_object_or_404(Quote, ref__iexact=ref)
        form = IssueForm(request.POST)
        if not form.is_valid():
            messages.error(request, STALE)
            return redirect(quote)
        given = form.cleaned_data
        try:
            issued = quoting.issue(
                quote,
                without_price=given["without_price"],
                by=request.user,
                key=given["request_key"],
            )
        except AlreadyEnteredError:
            messages.info(request, "This was entered already. Nothing was written twice.")
        except StudioError as refusal:
            messages.error(request, f"Not issued: {refusal}")
        except OperationalError as fault:
            messages.error(request, outages.sentence(fault, NOT_ISSUED))
        else:
            messages.success(request, f"{issued.ref} is issued. Print the letter and send it.")
        return redirect(quote)


@needs("orders.change")
class QuoteAccept(OneQuote, FormPage):
    """The client ordered: a commission is agreed at a number and its price."""

    form_class = AcceptForm
    button = "Agree the commission"
    side_head = "What was ordered"
    note = "At the price of the letter"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form while the quote is out and its commission can take it."""
        if not self.quote.is_issued:
            messages.info(request, panels.not_out(self.quote))
            return redirect(self.quote)
        if barred := quoting.bar(self.quote):
            messages.info(request, barred)
            return redirect(self.quote)
        return super().get(request, *args, **kwargs)

    @cached_property
    def doubt(self) -> str:
        """Say why the quote may not be good any more."""
        return panels.doubt(self.quote)

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form the numbers with their prices."""
        quote = self.quote
        return {
            **super().get_form_kwargs(),
            "choices": panels.choices(quote),
            "asks_day": quote.commission_id is None,
            "doubt": self.doubt,
        }

    def get_initial(self) -> dict[str, Any]:
        """Begin with the number that was asked for, and the day that follows from the letter."""
        return {
            **super().get_initial(),
            "quantity": self.quote.good_quantity,
            "due": panels.due_day(self.quote, today()),
        }

    def get_heading(self) -> str:
        """Name the quote."""
        return f"{self.quote.ref} is accepted"

    def get_lede(self) -> str:
        """Say what comes of it."""
        return panels.accept_words(self.quote)

    def act(self, form: Any, key: Any) -> Commission:
        """Agree the commission."""
        given = form.cleaned_data
        return quoting.accept(
            self.quote,
            given["quantity"],
            due=given.get("due"),
            all_the_same=given.get("all_the_same", False),
            by=self.request.user,
            key=key,
        )

    def said(self, result: Commission) -> str:
        """Name what was agreed."""
        return f"{self.quote.ref} is accepted, and {result.ref} is agreed at its price."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say that the price of the letter stands."""
        return [explained.frozen(panels.choices(self.quote))]


@needs("orders.change")
class QuoteDecline(OneQuote, FormPage):
    """The client said no, or a draft is not wanted any more."""

    form_class = DeclineForm
    button = "Lay it aside"
    side_head = "Why"
    note = "The number stays in the book"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form while there is something to lay aside."""
        if not (self.quote.is_draft or self.quote.is_issued):
            messages.info(request, panels.not_out(self.quote))
            return redirect(self.quote)
        return super().get(request, *args, **kwargs)

    def get_heading(self) -> str:
        """Name the quote."""
        return f"Lay {self.quote.ref} aside"

    def get_lede(self) -> str:
        """Say what it does."""
        return "It stays as it is and counts for nothing any more. It can be issued anew."

    def act(self, form: Any, key: Any) -> Quote:
        """Lay it aside."""
        return quoting.decline(
            self.quote, why=form.cleaned_data["why"], by=self.request.user, key=key
        )

    def said(self, result: Quote) -> str:
        """Say that it is done."""
        return f"{result.ref} is laid aside."
