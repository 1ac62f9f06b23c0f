"""The short forms of the log of a making, and the page that finishes it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.functional import cached_property

from fibres.models import Fibre, Lot
from orders.calc.makingsheet import WeighOut
from orders.explained import making as explained
from orders.makinglogforms import (
    BrokeForm,
    DoseForm,
    FinishForm,
    HeelForm,
    IssueForm,
    LogForm,
    SpendForm,
    TrialForm,
)
from orders.makings import finish, log, weighing
from orders.makings.lots import consistency_of
from orders.models import Making, TrialSheet
from orders.views import makinglogcounts as counts
from orders.views import makinglogpanels as panels
from orders.views.makinglog import OneMaking
from studio.explaining import Explained
from studio.pages import FormPage
from studio.roles import needs
from studio.units import from_mg, show_mass, show_share, to_mg

MG_PER_ML = 1000


class NotePage(OneMaking, FormPage):
    """A form that notes one thing and leads back to the log."""

    form_class: type[LogForm]
    button = "Note it"
    anchor = ""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead back to the log where the making takes no notes; a page sent twice is told so."""
        if self.making.state != Making.State.AT_THE_VAT and request.method == "GET":
            messages.info(
                request,
                f"{self.making.ref} is {str(self.making.get_state_display()).lower()}, so nothing "
                "is noted in it now.",
            )
            return redirect(log.page_of(self.making))
        return super().dispatch(request, *args, **kwargs)

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form its making."""
        return {**super().get_form_kwargs(), "making": self.making}

    def get_back(self) -> tuple[str, str]:
        """Lead back to the log."""
        return (f"Log of {self.making.ref}", log.page_of(self.making))

    def get_lede(self) -> str:
        """Say where the making stands."""
        return self.lede or counts.lede(self.making)

    def write(self, form: Any, given: dict[str, Any], **sent: Any) -> Any:
        """Note what was given; ``sent`` says by whom, and under which key."""
        raise NotImplementedError

    def act(self, form: Any, key: Any) -> str:
        """Note it, and lead to where it stands on the log."""
        self.noted = self.write(form, form.cleaned_data, by=self.request.user, key=key)
        return f"{log.page_of(self.making)}#{self.anchor}"

    def noted_of(self, what: str) -> dict[str, Any]:
        """Return what is noted of heel or broke, for the form to start from."""
        as_is_mg = getattr(self.making, f"{what}_as_is_mg")
        kept_as = getattr(self.making, f"{what}_fibre_id")
        return {
            "mass": None if as_is_mg is None else from_mg(as_is_mg),
            "moisture": getattr(self.making, f"{what}_moisture"),
            "fibre": kept_as or first_key(self.get_form_class(), self.making),
        }


@needs("makings.change")
class MakingIssue(NotePage):
    """Note what was weighed out of a lot."""

    form_class = IssueForm
    heading = "Weigh out of a lot"
    side_head = "Weighed out"
    note = "It leaves the store when the making is finished"
    anchor = "issues"

    def get_initial(self) -> dict[str, Any]:
        """Take the lot from the page that leads here, and its mass from the making sheet."""
        asked = self.request.GET.get("lot", "").strip()
        row = next((row for row in self.to_weigh if asked.lower() in ("", row.lot.lower())), None)
        ref = asked or (row.lot if row else "")
        lot = Lot.objects.filter(ref__iexact=ref).first()
        return {"lot": lot and lot.pk, "mass": self._as_typed(row.as_is_mg) if row else None}

    def _as_typed(self, mass_mg: int) -> Any:
        """Return a mass as a person would type it: pounds with their ounces."""
        system = self.studio.units
        mass = weighing.rounded_up(mass_mg, system)
        words = show_mass(mass, system=system)
        return [words, "lb"] if "lb" in words else mass

    @cached_property
    def to_weigh(self) -> list[WeighOut]:
        """Read what the making sheet would still have weighed out."""
        return weighing.still_to_weigh(self.making, timezone.localdate())

    def get_lede(self) -> str:
        """Say what the making sheet asks for."""
        system = self.studio.units
        wanted = [f"{panels.to_weigh_words(row, system)} of {row.lot}" for row in self.to_weigh]
        return (
            f"The making sheet still asks for {panels.in_a_row(wanted)}, as is."
            if wanted
            else "Enter what was weighed out, from which lot, with its water."
        )

    def write(self, form: Any, given: dict[str, Any], **sent: Any) -> Any:
        """Note it; nothing leaves the store yet."""
        mass_mg, moisture = to_mg(given["mass"]), given["moisture"]
        return log.issue(self.making, given["lot"], as_is_mg=mass_mg, moisture=moisture, **sent)

    def said(self, result: str) -> str:
        """Say what it holds."""
        dry = show_mass(self.noted.oven_dry_mg, system=self.studio.units)
        return f"{dry} oven-dry of {self.noted.lot.ref}, at {show_share(self.noted.moisture)}."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how a mass weighed out is made dry, and what the making sheet still asks for."""
        system = self.studio.units
        return [explained.weigh_out(self.to_weigh, system), explained.oven_dry(None, None, system)]


@needs("makings.change")
class MakingSpend(NotePage):
    """Note minutes that the buttons do not come to."""

    form_class = SpendForm
    heading = "Enter minutes"
    button = "Enter them"
    side_head = "Time"
    note = "Of everybody who worked on it, added up"
    anchor = "minutes"

    def write(self, form: Any, given: dict[str, Any], **sent: Any) -> Any:
        """Add them, or take them back."""
        return log.spend(self.making, given["operation"], form.signed, **sent)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how minutes are added up."""
        return [explained.minutes()]


@needs("makings.change")
class MakingDose(NotePage):
    """Note an addition with its mass."""

    form_class = DoseForm
    heading = "Enter an addition"
    button = "Enter it"
    side_head = "Addition"
    note = "Sizing, filler, pigment and aids, dry"
    anchor = "doses"

    @property
    def asked(self) -> str:
        """The addition that the log leads here for; nothing where it is a new one."""
        return str(self.request.GET.get("name", ""))

    def get_initial(self) -> dict[str, Any]:
        """Start from what is noted of it, or from what the furnish says."""
        usual = self.making.sheet.furnish.additions.first()
        name = self.asked or (usual.name if usual else "")
        dose = self.making.doses.filter(name__iexact=name).first()
        if dose is None:
            return {"name": name, "kind": usual.kind} if usual else {"name": name}
        mass = from_mg(dose.mass_mg)
        return {"name": dose.name, "kind": dose.kind, "bottle": dose.bottle, "mass": mass}

    def write(self, form: Any, given: dict[str, Any], **sent: Any) -> Any:
        """Note it; a bottle is taken off only where the page showed it."""
        was_shown = self.asked.casefold() == given["name"].casefold()
        return log.dose(
            self.making,
            given["name"],
            kind=given["kind"],
            mass_mg=to_mg(given["mass"]),
            bottle=given["bottle"] if was_shown else given["bottle"] or None,
            **sent,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how additions are dosed."""
        return [explained.dose()]


@needs("makings.change")
class MakingTrial(NotePage):
    """Note a sheet that was dried and weighed."""

    form_class = TrialForm
    heading = "Enter a weighed sheet"
    button = "Enter the sheet"
    side_head = "Trial sheet"
    note = "The balance and the draw of the mould are learned from it"
    anchor = "trials"

    def get_initial(self) -> dict[str, Any]:
        """Start at the pull that was counted last."""
        number = max(counts.totals(self.making)["pulls"], TrialSheet.FIRST_PULL)
        is_first = number == TrialSheet.FIRST_PULL
        return {
            "moisture": self.studio.sheet_moisture,
            "number": number,
            "consistency": consistency_of(self.making) if is_first else None,
        }

    def write(self, form: Any, given: dict[str, Any], **sent: Any) -> Any:
        """Note it."""
        size = given["size"]
        trial = TrialSheet(
            number=given["number"],
            mass_mg=to_mg(given["mass"]),
            moisture=given["moisture"],
            consistency=given["consistency"],
            width_um=size.width_um if size else None,
            height_um=size.height_um if size else None,
        )
        return log.weigh_trial(self.making, trial, **sent)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what a weighed sheet shows."""
        begun = shown["form"].initial
        return [explained.trial_learned(begun["number"], begun["moisture"])]


@needs("makings.change")
class MakingHeel(NotePage):
    """Say what becomes of what is left in the vat."""

    form_class = HeelForm
    heading = "What is left in the vat"
    side_head = "Heel"
    note = "Kept wet it spoils within days: label it with day and furnish"
    anchor = "heel"

    def get_initial(self) -> dict[str, Any]:
        """Start from what is noted."""
        return {"heel": self.making.heel, **self.noted_of("heel")}

    def write(self, form: Any, given: dict[str, Any], **sent: Any) -> Any:
        """Note it; litres are water but for what the consistency says."""
        mass_mg, moisture = None, given["moisture"]
        if given["mass"]:
            mass_mg = to_mg(given["mass"])
        elif given["litres"] and given["heel"] == Making.Heel.THROWN:
            # A litre of vat weighs a kilogram, as far as a vat is ever measured.
            millilitres = given["litres"].to("mL").magnitude
            mass_mg, moisture = int(millilitres * MG_PER_ML), 1 - consistency_of(self.making)
        weighed = {"as_is_mg": mass_mg, "moisture": moisture, "fibre": given["fibre"]}
        return log.note_heel(self.making, given["heel"], **weighed, **sent)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the heel is made dry."""
        making = self.making
        dry = explained.oven_dry(making.heel_as_is_mg, making.heel_moisture, self.studio.units)
        return [dry, explained.litres_thrown()]


def first_key(form_class: type[LogForm], making: Making) -> int | None:
    """Return the key of the fibre that is offered first."""
    field: forms.ModelChoiceField = form_class(making=making).fields["fibre"]
    first: Fibre | None = field.queryset.first()
    return first.pk if first else None


@needs("makings.change")
class MakingBroke(NotePage):
    """Note how much broke is kept."""

    form_class = BrokeForm
    heading = "Broke that is kept"
    side_head = "Broke and trimmings"
    note = "It becomes a lot of its own when the making is finished"
    anchor = "broke"

    def get_initial(self) -> dict[str, Any]:
        """Start from what is noted; 0 says that none is kept."""
        noted = self.noted_of("broke")
        return {**noted, "mass": noted["mass"] or from_mg(0)}

    def write(self, form: Any, given: dict[str, Any], **sent: Any) -> Any:
        """Note it."""
        mass_mg, moisture = to_mg(given["mass"]), given["moisture"]
        fibre = given["fibre"]
        return log.note_broke(
            self.making, as_is_mg=mass_mg, moisture=moisture, fibre=fibre, **sent
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how broke is made dry."""
        making = self.making
        return [
            explained.oven_dry(making.broke_as_is_mg, making.broke_moisture, self.studio.units)
        ]


@needs("makings.change")
class MakingFinish(NotePage):
    """Show where the fibre went, and post all of it at once."""

    form_class = FinishForm
    heading = "Finish the making"
    button = "Finish the making"
    side_head = "The making"
    note = "Afterwards the log takes no more notes"
    template_name = "orders/makings/finish.html"

    def get_heading(self) -> str:
        """Name the making."""
        return f"Finish {self.making.ref}"

    def get_lede(self) -> str:
        """Say what finishing does."""
        return (
            "Everything weighed out leaves the store at once, and sheets, broke and heel come in. "
            "Look the sum over first."
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        """Ask to accept a sum that comes to too much, where it does."""
        return {**super().get_form_kwargs(), "is_over": bool(self.balance.over_mg)}

    @property
    def balance(self) -> finish.MassBalance:
        """The balance, reckoned once a request."""
        known: finish.MassBalance | None = getattr(self, "_balance", None)
        if known is None:
            known = self._balance = finish.balance_of(self.making)
        return known

    def act(self, form: Any, key: Any) -> str:
        """Finish it."""
        given = form.cleaned_data
        finish.finish(
            self.making,
            finished_on=given["happened_on"],
            accept_over=given.get("accept_over", False),
            by=self.request.user,
            key=key,
        )
        return log.page_of(self.making)

    def said(self, result: str) -> str:
        """Say that it is done."""
        return f"{self.making.ref} is finished, and the store is up to date."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the sum, what is missing, and what looks odd."""
        balance = self.balance
        return super().get_context_data(
            lines=balance.as_lines(self.studio.units),
            unready=finish.unready(self.making),
            odd=panels.odd_words(self.making),
            is_over=bool(balance.over_mg),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say where the fibre goes."""
        return [
            explained.balance(shown["lines"]),
            explained.oven_dry(None, None, self.studio.units),
        ]
