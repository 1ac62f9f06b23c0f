"""Pages on which a making is planned, changed and given up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.functional import cached_property

from orders.calc.forming import form as formed
from orders.explained import choosing
from orders.explained import making as explained
from orders.forms import LONGEST_KEY
from orders.makingforms import MakingForm
from orders.makings import notices, planning
from orders.makings.lots import to_form
from orders.models import Commission, Making, Sheet
from orders.snapshot import read_shrinkages
from orders.views.makings import OneMaking
from orders.views.shapes import OpenRowPage, today
from studio.errors import StudioError
from studio.explaining import Explained
from studio.forms import HouseForm
from studio.pages import FormPage
from studio.roles import needs
from studio.units import show_number
from studio.working import Line


@needs("makings.change")
class MakingEdit(OpenRowPage):
    """Plan or change a making, with what it takes beside the form."""

    model = Making
    form_class = MakingForm
    noun = "making"
    has_page = True
    back = ("Making", "makings")
    lede = "Give a commission or a sheet, and a number. What is left open is taken as usual."
    panel = "orders/_making_panel.html"
    panel_title = "What it takes"
    panel_fields = ("wanted_good", "thick_consistency", "mould", "vat")
    button_for_new = "Plan the making"

    def get_initial(self) -> dict[str, Any]:
        """Start from the commission or the sheet that a link brought, and from what is usual."""
        if not self.is_new:
            return super().get_initial()
        found: dict[str, Any] = {
            "planned_on": today(),
            "thick_consistency": self.studio.furnish_consistency,
        }
        commission = self.commission_asked
        if commission is not None:
            found |= {
                "commission": commission,
                # Nothing left is no number: whoever wants more says how many.
                "wanted_good": planning.left_to_plan(commission) or None,
            }
        sheet = commission.sheet if commission else self._sheet_asked()
        if sheet is not None and commission is None:
            found["sheet"] = sheet
        found["vat"] = planning.usual_vat(sheet.mould if sheet else None)
        return {**super().get_initial(), **found}

    @cached_property
    def commission_asked(self) -> Commission | None:
        """Return the commission that a link brought, as long as it is promised."""
        ref = self.request.GET.get("commission", "").strip()
        promised = Commission.objects.filter(state__in=Commission.PROMISES)
        return promised.filter(ref__iexact=ref).first()

    def get_lede(self) -> str:
        """Name what is open for the commission already, so that nothing is planned twice."""
        if not self.is_new or self.commission_asked is None:
            return super().get_lede()
        return f"{notices.open_words(self.commission_asked)} {super().get_lede()}".strip()

    def _sheet_asked(self) -> Sheet | None:
        key = self.request.GET.get("sheet", "")
        if not key.isdecimal() or len(key) > LONGEST_KEY:
            return None
        return Sheet.objects.filter(pk=int(key), closed_on__isnull=True).first()

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out the fibre that the making takes, as it is typed."""
        return self._panel(form.instance)

    def _panel(self, making: Making) -> dict[str, Any]:
        if making.sheet_id is None:
            raise StudioError("Choose a commission or a sheet, and the sum appears here.")
        shrinkages = read_shrinkages()
        spec = planning.spec_of(making, self.studio, shrinkages)
        making.pulls = making.pulls or planning.safe_pulls(spec, making.wanted_good)
        found = formed(to_form(making, self.studio, shrinkages))
        wanted = Line("Good sheets wanted", show_number(making.wanted_good))
        good = planning.good_on_average(spec, making.pulls)
        come = Line("Good sheets on average", f"about {show_number(good)}", "of the pulls below")
        return {"lines": (wanted, come, *found.lines(self.studio.units))}

    def act(self, form: Any, key: Any) -> Any:
        """Plan it, or keep what was changed."""
        deed = planning.plan_making if self.is_new else planning.change_making
        return deed(form.instance, by=self.request.user, key=key)

    def said(self, result: Any) -> str:
        """Say which number it got."""
        return f"{result.ref} is in the book."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Work out what is kept before anything is typed."""
        context = super().get_context_data(**kwargs)
        if not context["form"].is_bound and not self.is_new:
            try:
                context["result"] = self._panel(self.row)
            except StudioError as refusal:
                context["result"] = {"refusal": str(refusal)}
        return {**context, "side_head": "The making", "note": "One run at the vat"}

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the panel is worked out, by what it said as the page was opened."""
        return [explained.pulls(), explained.to_prepare(choosing.sum_shown(shown))]


@needs("makings.change")
class MakingGiveUp(OneMaking, FormPage):
    """Give a making up: nothing in the store has moved, and nothing will."""

    form_class = HouseForm
    button = "Give it up"
    side_head = "What becomes of it"
    note = "What was noted at the vat stays to be read"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask, as long as it is not over."""
        if not self.making.is_open:
            word = self.making.get_state_display().lower()
            messages.info(request, f"{self.making.ref} is {word} already.")
            return redirect(self.making)
        return super().get(request, *args, **kwargs)

    def get_back(self) -> tuple[str, str]:
        """Lead back to the making."""
        return (f"Making {self.making.ref}", self.making.get_absolute_url())

    def get_heading(self) -> str:
        """Name the making."""
        return f"Give up {self.making.ref}"

    def get_lede(self) -> str:
        """Say what that does."""
        return (
            "The store stays as it is: fibre that lies weighed out goes back to its lots. It "
            "cannot be taken up again."
        )

    def act(self, form: Any, key: Any) -> Any:
        """Give it up."""
        return planning.give_up(self.making, by=self.request.user, key=key)

    def said(self, result: Any) -> str:
        """Say that it is done."""
        return f"{result.ref} is given up. Nothing in the store has moved."
