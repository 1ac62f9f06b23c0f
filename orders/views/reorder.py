"""The page that says what to buy, from whom and by when; and the step of having bought it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views import View
from django.views.generic import TemplateView
from django_htmx.http import HttpResponseClientRefresh

from fibres.models import Fibre
from orders import reordering, reorderwording
from orders.calc.bought import NOTHING_TO_DO, Flag, OrderToPlace
from orders.calc.plan import Snapshot
from orders.explained import buying as explained
from orders.reorderforms import OrderForm, sealed
from orders.reordering import Offered
from orders.reorderreasons import not_from_one
from orders.views import reorderpanels as panels
from orders.views.shapes import today
from studio import outages, roles
from studio.context import current_studio
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.explaining import Explained
from studio.lists import house_table, whole
from studio.pages import NOT_SAVED, HousePage, blame
from studio.roles import needs
from studio.tables import pages_of

MAY_BUY = "purchases.change"
DAYS_A_WEEK = 7
FIBRES_A_PAGE = 12


def asked_weeks(text: str) -> int:
    """Return how many weeks to look ahead; what cannot be read stands for the usual number."""
    if not (text.isascii() and text.isdigit() and len(text) <= 4):
        return reordering.USUAL_WEEKS
    return min(max(int(text), reordering.FEWEST_WEEKS), reordering.MOST_WEEKS)


def weeks_said(text: str, weeks: int) -> str:
    """Say how many weeks can be shown, where others were asked for; else nothing."""
    if not text or text.lstrip("0") == str(weeks):
        return ""
    return (
        f"From {reordering.FEWEST_WEEKS} to {reordering.MOST_WEEKS} weeks can be shown; these "
        f"are {weeks}."
    )


def address(weeks: int, page: int = 1) -> str:
    """Return the address of a page for a number of weeks."""
    told = {} if weeks == reordering.USUAL_WEEKS else {"weeks": weeks}
    told |= {} if page == 1 else {"page": page}
    return reverse("reorder") + (f"?{urlencode(told)}" if told else "")


def address_of(key: int | None) -> str:
    """Return where a fibre stands, on whichever page that is."""
    asked = f"?fibre={key}#{panels.anchor(key)}" if key else ""
    return f"{reverse('reorder')}{asked}"


def _is_looking(search: reordering.Search | None) -> bool:
    return search is not None and not search.is_over


class ReorderShape(HousePage, TemplateView):
    """What falls short when, and the cheapest way to mend it for who may see what it costs."""

    template_name = "orders/reorder.html"
    heading = "Reorder"
    # A form that was sent and could not be kept, shown again in its place.
    sent: OrderForm | None = None

    @property
    def weeks(self) -> int:
        """How many weeks the page looks ahead."""
        return asked_weeks(self.request.GET.get("weeks", ""))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Read the flags, and the plan for who may see money."""
        now, weeks = today(), self.weeks
        context: dict[str, Any] = {
            "weeks": weeks,
            "weeks_said": weeks_said(self.request.GET.get("weeks", ""), weeks),
            "fewest": reordering.FEWEST_WEEKS,
            "most": reordering.MOST_WEEKS,
            "until": now + timedelta(days=weeks * DAYS_A_WEEK),
        }
        if self.sees_money:
            found = reordering.find(now, weeks)
            shot, flags, orders = found.snapshot, found.plan.flags, found.plan.purchases
            context |= self._plan(found, now)
        else:
            standing = reordering.standing(now, weeks)
            shot, flags, orders = standing.snapshot, standing.flags, ()
            context["lede"] = reorderwording.lede(flags, now, weeks)
        return super().get_context_data(**context, **self._drawn(shot, flags, orders), **kwargs)

    def _drawn(
        self, shot: Snapshot, flags: Sequence[Flag], orders: Sequence[OrderToPlace]
    ) -> dict[str, Any]:
        """Draw the fibres of this page: those that ask for something first."""
        keys = dict(Fibre.objects.values_list("name", "pk"))
        drawer = panels.Drawer(
            self.request,
            shot.today,
            keys=keys,
            commissions={promise.ref for promise in shot.commissions},
            system=self.studio.units,
        )
        page = self._page([*reorderwording.flagged(flags), *panels.resting(flags)], keys)
        asking = [flag for flag in page if flag.state != NOTHING_TO_DO]
        resting = [drawer.ahead(flag) for flag in page if flag.state == NOTHING_TO_DO]
        said_here = resting or not page.has_next()
        return {
            "asking": asking,
            "entries": [drawer.entry(flag, orders) for flag in asking],
            "at_rest": reorderwording.at_rest(flags, self.weeks) if said_here else "",
            "resting": resting,
            "pages": pages_of(page, lambda number: address(self.weeks, number)),
        }

    def _page(self, drawn: Sequence[Flag], keys: Mapping[str, int]) -> Page:
        """Return the page asked for, by its number or by a fibre that stands on it."""
        fibre = whole(self.request.GET.get("fibre", ""))
        places = (place for place, flag in enumerate(drawn) if keys.get(flag.fibre) == fibre)
        number = next(places, 0) // FIBRES_A_PAGE + 1
        paginator = Paginator(drawn, FIBRES_A_PAGE)
        return paginator.get_page(whole(self.request.GET.get("page", "")) or number)

    def _plan(self, found: reordering.Found, now: date) -> dict[str, Any]:
        plan, currency = found.plan, self.studio.currency
        offers = reordering.offers_of(plan)
        may_buy = roles.can(self.request.user, MAY_BUY)
        return {
            "lede": reorderwording.plan_lede(plan, currency, self.weeks),
            "found": found,
            "plan": house_table(
                self.request,
                panels.PlanTable,
                panels.plan_rows(plan, offers, now, self.studio.units),
                caption=panels.plan_caption(plan, self.studio.units),
                paginate=False,
            )
            if plan.purchases
            else None,
            "gap": reorderwording.gap_words(plan),
            "rule": reorderwording.rule_words(plan, currency) if plan.purchases else "",
            "holding": plan.holding_minor,
            "reasons": " ".join(not_from_one(plan, found.snapshot, currency, self.studio.units)),
            "may_look": may_buy and not plan.is_proven and not _is_looking(found.search),
            "search": panels.search_words(found.search, currency),
            "orders": [
                {
                    "order": order,
                    "words": panels.order_words(order, now),
                    "by": reorderwording.by_day(order.order_on, now),
                    "form": self._form(found, number, order, now),
                }
                for number, order in enumerate(plan.purchases, 1)
            ]
            if may_buy
            else [],
        }

    def _form(
        self, found: reordering.Found, number: int, order: OrderToPlace, now: date
    ) -> OrderForm:
        offered = panels.offered(found.key, self.weeks, order)
        sent = self.sent
        if sent is not None and sent.cleaned_data.get("order") == offered:
            return sent
        days = order.arrives_on - order.order_on
        return OrderForm(
            auto_id=f"order-{number}-%s",
            initial={"order": sealed(offered), "ordered_on": now, "expected_on": now + days},
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say by when what is ordered, how balances run, and why the plan is the cheapest."""
        system, asking = self.studio.units, shown["asking"]
        first = None
        if asking:
            mark = reorderwording.mark_of(asking[0], today())[1]
            first = (asking[0].fibre, asking[0].short_oven_dry_mg, mark)
        drawn = [*(entry.ahead for entry in shown["entries"]), *shown["resting"]]
        said = [explained.flags(first, system), explained.balance(next(iter(drawn), None), system)]
        if found := shown.get("found"):
            said.append(explained.plan(found.plan.purchases, self.studio.currency))
        return said


@needs("read")
class ReorderPage(ReorderShape):
    """The page, to be read."""


@needs(MAY_BUY)
class ReorderOrder(ReorderShape):
    """Mark an order of the plan as placed; what is wrong comes back on the page itself."""

    @property
    def weeks(self) -> int:
        """As many weeks as the page had looked ahead on which it was marked."""
        order = self.sent.cleaned_data.get("order") if self.sent else None
        return order.weeks if order else reordering.USUAL_WEEKS

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead back to the plan."""
        return redirect("reorder")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Write the purchase, or say why not."""
        form = OrderForm(request.POST, auto_id="order-sent-%s")
        self.sent = form
        if not form.is_valid():
            return self._again(form)
        given = form.cleaned_data
        offered: Offered = given["order"]
        try:
            purchase = reordering.mark_ordered(
                offered,
                today(),
                ordered_on=given["ordered_on"],
                expected_on=given["expected_on"],
                by=request.user,
                key=given["request_key"],
            )
        except AlreadyEnteredError as repeat:
            messages.info(request, "This was entered already. Nothing was written twice.")
            return redirect(repeat.entry.page)
        except StudioError as refusal:
            blame(form, refusal)
            return self._again(form)
        except OperationalError as fault:
            messages.error(request, outages.sentence(fault, NOT_SAVED))
            return redirect(address(offered.weeks))
        messages.success(request, f"{purchase.ref} is on its way from {purchase.source}.")
        return redirect(purchase)

    def _again(self, form: OrderForm) -> HttpResponse:
        """Show the plan with what has to be put right; where the plan is another, only say so."""
        context = self.get_context_data()
        shown = any(order["form"] is form for order in context["orders"])
        context["sent" if shown else "refused"] = form
        return self.render_to_response(context)


@needs(MAY_BUY)
class ReorderLook(View):
    """Begin to look longer for a cheaper plan."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Lead back to the plan, as where an address is typed again."""
        return redirect("reorder")

    def post(self, request: HttpRequest) -> HttpResponse:
        """Begin, and go back to the page, which says how far it is."""
        weeks = asked_weeks(request.POST.get("weeks", ""))
        try:
            begun = reordering.look_longer(today(), weeks)
        except OperationalError as fault:
            messages.error(request, outages.sentence(fault, NOT_SAVED))
        else:
            if not begun:
                messages.info(request, "A cheaper plan is being looked for already.")
        return redirect(f"{address(weeks)}#plan")


@needs("money")
class ReorderProgress(View):
    """How far a search is, for the panel that asks every second."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show how far it is; once it is over, have the page read again."""
        key, weeks = request.GET.get("key", "")[:64], asked_weeks(request.GET.get("weeks", ""))
        search = reordering.progress_of(key)
        if not request.htmx:  # type: ignore[attr-defined]
            return redirect(f"{address(weeks)}#plan")
        if search is None or search.is_over:
            return HttpResponseClientRefresh()
        words = panels.search_words(search, current_studio(request).currency)
        context = {"search": words, "key": key, "weeks": weeks}
        return render(request, "orders/_reorder_search.html", context)
