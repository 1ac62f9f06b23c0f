"""Pages of commissions: the list, one commission, its form, and the step to another state."""

from __future__ import annotations

import copy
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_POST
from django.views.generic import TemplateView

from fibres.models import Fibre
from orders import actuals, queries, services, sheetsinhand, wording
from orders.calc.costing import Cost
from orders.calc.cover import Answer, Cover
from orders.calc.remedies import made_worse
from orders.explained import commission as explained
from orders.filters import CommissionFilter
from orders.finishing import finish_of
from orders.forms import CommissionForm, MoveForm
from orders.makings import notices
from orders.models import Commission, Making
from orders.tables import CommissionTable
from orders.views import commissionpanels as panels
from orders.views import costpanels, provenancepanels
from orders.views.deliverypanels import sheets_context
from orders.views.quotepanels import quotes_context
from orders.views.shapes import OpenRowPage, cover_marks, today
from studio import outages, roles
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.explaining import Explained
from studio.lists import ListPage
from studio.money import show_money
from studio.pages import HousePage
from studio.roles import needs
from studio.units import System, show_mass, show_number
from studio.working import Line

NOT_ENTERED = "new"
NOT_MOVED = (
    "Not moved: the database could not take the entry just now. Take the step once more in a "
    "moment."
)


@needs("read")
class CommissionList(ListPage):
    """Every commission, with whether the store covers it."""

    template_name = "orders/commissions.html"
    table_class = CommissionTable
    filterset_class = CommissionFilter
    heading = "Commissions"
    export_name = "commissions"
    # Who takes the whole book of clients along is for the owner to say.
    export_need = "orders.change"
    note = "Served by priority, then by the day due"

    def get_queryset(self) -> Any:
        """Return commissions, those due next first."""
        return queries.commissions_for(self.request.user).order_by("due", "ref")

    @property
    def cover(self) -> Cover:
        """The answer for all promises, asked once for the whole page."""
        known = getattr(self, "_cover", None)
        if known is None:
            known = self._cover = services.cover(today())
        return known

    def get_lede(self) -> str:
        """Say how the promises stand."""
        return wording.lede(self.cover, self.studio.units, made=sheetsinhand.all_made())

    def table_kwargs(self) -> dict[str, Any]:
        """Give the table the marks."""
        return {"covers": cover_marks(self.cover)}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what the reader may do."""
        user = self.request.user
        return super().get_context_data(
            may_change=roles.can(user, "orders.change"),
            sees_clients=roles.can(user, "clients.see"),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what the marks mean, by the first promise of the list."""
        return explained.of_list(shown["table"])


@needs("read")
class CommissionPage(HousePage, TemplateView):
    """One commission: what it asks for, whether it is covered, what it costs."""

    template_name = "orders/commission.html"
    back = ("Commissions", "commissions")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Read the commission, ask for its cover, and cost it for who may see money."""
        rows = queries.commissions_for(self.request.user)
        commission = get_object_or_404(
            rows.select_related("sheet__furnish", "sheet__mould"), ref__iexact=self.kwargs["ref"]
        )
        standing = services.standing_of(
            commission, today(), with_offers=True, with_money=self.sees_money
        )
        sheets = sheets_context(self.request, commission)
        money, costs = self._money(commission, standing)
        context = {
            **sheets,
            "commission": commission,
            "heading": f"{commission.ref} {commission.title}",
            "moves": self._moves(commission, standing.answer, may_send=sheets["may_send"]),
            "may_change": roles.can(self.request.user, "orders.change"),
            "may_make": roles.can(self.request.user, "makings.change"),
            **self._stands(commission, standing),
            **money,
            **quotes_context(self.request, commission, costs),
            **self._makings(commission),
        }
        context["lede"] = self._lede(commission, standing.answer, costs, context)
        return super().get_context_data(**context, **kwargs)

    def _stands(self, commission: Commission, standing: services.Standing) -> dict[str, Any]:
        """Return what it asks for, of what it is made, and how the store covers it."""
        furnish = commission.sheet.furnish_id
        made_of = Fibre.objects.filter(furnish_parts__furnish=furnish)
        fibres = {one.name: one for one in made_of.order_by("-furnish_parts__share", "pk")}
        return {
            "facts": panels.facts(commission, standing, self.studio),
            "made_of": panels.made_of(commission, self.studio),
            "cautions": panels.cautions(commission, list(fibres.values())),
            "finish": finish_of(standing, today()),
            **panels.cover_context(self.request, standing, fibres),
            "worse": panels.worse_words(commission, standing.cover),
            "counted": panels.count_lines(commission, self.studio),
            "weighed": panels.weigh_lines(standing.answer, fibres, self.studio.units),
        }

    def _money(
        self, commission: Commission, standing: services.Standing
    ) -> tuple[dict[str, Any], list[Cost]]:
        """Return cost and price for who sees money, and why it cannot be reckoned."""
        cover, answer = standing.cover, standing.answer
        left_out = dict(cover.left_out).get(commission.ref, "")
        if not self.sees_money or left_out:
            return {"left_out": left_out}, []
        costs: list[Cost] = []
        found: dict[str, Any] = {"left_out": ""}
        try:
            costs, money = costpanels.of_commission(self.request, commission, answer, cover)
            found |= money
            actual = actuals.of_commission(commission)
            found |= costpanels.actual_context(self.request, actual)
        except StudioError as refusal:
            # What is over is not reckoned with the promises, so nobody has tried it before.
            found["left_out"] = str(refusal)
        return found, costs

    def _makings(self, commission: Commission) -> dict[str, Any]:
        """Return what its makings are said to do beside the cover, and what they came from."""
        makings = commission.makings.order_by("pk")
        opened = makings.filter(state__in=Making.OPEN)
        claim = provenancepanels.claim_of(commission)
        return {
            "beside": notices.said_beside(opened.select_related("sheet__mould", "mould", "vat")),
            **provenancepanels.from_where(self.request, makings, claim=claim),
        }

    def _lede(
        self,
        commission: Commission,
        answer: Answer | None,
        costs: list[Cost],
        shown: Mapping[str, Any],
    ) -> str:
        """Say first what is made already, then how the rest stands."""
        said = panels.lede(
            commission, answer, costs, left_out=shown["left_out"], system=self.studio.units
        )
        if shown["is_all_made"] or (answer and shown["kept_words"]):
            return f"{shown['kept_words']} {said if answer else ''}".strip()
        return said

    def _moves(
        self, commission: Commission, answer: Answer | None, *, may_send: bool
    ) -> list[dict[str, Any]]:
        """Return the steps that can follow, each with a key of its own and its weight."""
        if not roles.can(self.request.user, "orders.change"):
            return []
        following = services.steps_of(commission)
        if may_send:
            # Sending its sheets is the step; a commission called sent would leave them in hand.
            following = tuple(state for state in following if state != Commission.State.SENT)
        # Nobody should be led to promise or to make what the store does not cover.
        is_short = answer is not None and bool(answer.short)
        looks = ["do plain"] if is_short else ["do", "do plain"]
        if may_send:
            looks = []
        return [
            {
                "to": state,
                "words": panels.step_words(commission, state),
                "key": uuid.uuid4(),
                "look": look,
            }
            for state, look in zip_longest(following, looks[: len(following)], fillvalue="as-link")
        ]

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how fibre, cover, days and money of the page come about."""
        return explained.of_page(shown, self.studio)


@needs("orders.change")
@method_decorator(require_POST, name="dispatch")
class CommissionMove(View):
    """Move a commission one step."""

    def post(self, request: HttpRequest, ref: str) -> HttpResponse:
        """Take the step, or say why not, and go back to the commission."""
        commission = get_object_or_404(Commission, ref__iexact=ref)
        form = MoveForm(request.POST)
        if not form.is_valid():
            messages.error(request, "Not moved: choose one of the steps offered here.")
            return redirect(commission)
        given = form.cleaned_data
        try:
            moved = services.move(
                commission, given["to"], by=request.user, key=given["request_key"]
            )
        except AlreadyEnteredError:
            messages.info(request, "This was entered already. Nothing was written twice.")
        except StudioError as refusal:
            messages.error(request, f"Not moved: {refusal}")
        except OperationalError as fault:
            messages.error(request, outages.sentence(fault, NOT_MOVED))
        else:
            word = moved.get_state_display().lower()
            messages.success(request, f"{moved.ref} is now {word}.")
        return redirect(commission)


@dataclass(frozen=True, slots=True)
class Panel:
    """What the live panel says of a commission that is being typed."""

    mark: tuple[str, str]
    finding: str
    lines: tuple[Line, ...]
    worse: str


@needs("orders.change")
class CommissionEdit(OpenRowPage):
    """Enter or change a commission, with its cover beside the form."""

    model = Commission
    form_class = CommissionForm
    noun = "commission"
    back = ("Commissions", "commissions")
    lede = "Give a sheet, a number and a day. The panel says what the store covers."
    panel = "orders/_commission_panel.html"
    panel_title = "Does stock cover it?"
    panel_fields = ("sheet", "good_quantity", "due", "priority")
    button_for_new = "Enter the commission"
    waits = ("priority", *CommissionForm.LIMITS, "tolerance_over", "remarks")

    def get_initial(self) -> dict[str, Any]:
        """Take the sheet, the client or the number that a link brought along."""
        brought = {
            name: self.request.GET[name]
            for name in ("sheet", "client", "good_quantity", "due")
            if name in self.request.GET
        }
        return {**super().get_initial(), **(brought if self.is_new else {})}

    def work_out(self, form: Any) -> Panel:
        """Count the commission as typed among the promises."""
        chosen = form.cleaned_data.get("only_lots")
        lots = None if chosen is None else [lot.ref for lot in chosen]
        return self._panel(form.instance, lots)

    def _panel(self, commission: Commission, only_lots: list[str] | None = None) -> Panel:
        typed = copy.copy(commission)
        typed.ref = typed.ref or NOT_ENTERED
        before = services.cover(today())
        cover = services.cover(today(), extra=typed, extra_only_lots=only_lots)
        answer = cover.of(typed.ref)
        if answer is None:
            reason = dict(cover.left_out).get(typed.ref, "")
            raise StudioError(reason or wording.ALL_MADE)
        lines = panel_lines(answer, self.studio.units, asked=typed.good_quantity)
        if self.sees_money:
            lines += self._cost_lines(typed, answer, cover)
        return Panel(
            mark=wording.mark_of(answer, today()),
            finding=wording.finding(answer, today(), self.studio.units),
            lines=tuple(lines),
            worse=panels.worse_sentence(
                [found for found in made_worse(before, cover) if found.ref != typed.ref],
                today(),
            ),
        )

    def _cost_lines(self, typed: Commission, answer: Answer, cover: Cover) -> list[Line]:
        cost = services.cost_of(typed, picks=answer.picks, cover=cover)
        each = show_money(cost.total_minor_per_sheet, cost.currency)
        price = show_money(cost.price_minor_per_sheet, cost.currency)
        lines = [
            Line("Cost of a good sheet", each, f"{show_number(cost.pulls)} pulls", "line"),
            Line("Price of a good sheet", price, cost.rate_words, "answer"),
        ]
        if cost.missing:
            names = " and ".join(cost.missing)
            lines.insert(0, Line("No price known", names, "counted as nothing"))
        return lines

    def act(self, form: Any, key: Any) -> Any:
        """Enter the commission, and the client with it where it is new."""
        return services.enter_commission(
            form.instance,
            new_client=form.cleaned_data["new_client"],
            only_lots=form.cleaned_data["only_lots"],
            by=self.request.user,
            key=key,
        )

    def said(self, result: Any) -> str:
        """Say which number it got."""
        return f"{result.ref} is kept."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say what is not entered yet; work out what is kept before anything is typed."""
        context = super().get_context_data(**kwargs)
        form = context["form"]
        if form.is_bound and form.errors and "result" not in kwargs:
            context["lede"] = "It is not entered yet. Nothing you typed is lost."
        if not form.is_bound and not self.is_new:
            try:
                context["result"] = self._panel(self.row)
            except StudioError as refusal:
                context["result"] = {"refusal": str(refusal)}
        return {**context, "side_head": "The commission", "note": "What has to be made, by when"}

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the panel answers, by what it said as the page was opened."""
        return explained.of_form(shown, self.studio.price_by if self.sees_money else "")


def panel_lines(answer: Answer, system: System, *, asked: int) -> list[Line]:
    """Set out how many sheets are asked for, made and covered, and what each fibre comes to."""
    lines = [Line("Good sheets asked for", show_number(asked))]
    if asked != answer.wanted:
        lines.append(Line("Made for it already", show_number(asked - answer.wanted)))
    lines += [
        Line("Good sheets covered", show_number(answer.covered_sheets), "", "line"),
    ]
    for plan in services.plan_by_fibre(answer):
        needs_mass = show_mass(plan.needs_mg, system=system)
        lines.append(Line(plan.fibre, needs_mass, "oven-dry needed"))
        if plan.short_mg:
            short = show_mass(plan.short_mg, system=system)
            lines.append(Line(f"{plan.fibre}, short by", short, "oven-dry", "answer"))
    return lines
