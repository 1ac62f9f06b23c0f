"""What is done to a lot: receive it, weigh its moisture, take from it, put an entry right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.dateformat import format as day_in_words

from fibres import lotbook, offshelf, services
from fibres.calc import moisture as wet
from fibres.calc.pricing import paid_per_kg
from fibres.explained import lots as explained
from fibres.forms.lots import CorrectForm, MoistureForm, ReceiveForm, TakeForm
from fibres.models import Lot, Movement
from fibres.services import Receipt
from fibres.views.lots import OneLot
from studio.errors import StudioError
from studio.explaining import Explained, as_sent
from studio.money import BY_MASS_WORDS, by_mass, show_money
from studio.pages import FormPage
from studio.roles import needs
from studio.units import from_mg, show_mass, show_share, to_mg
from studio.working import Line


@needs("store.receive")
class ReceiveLot(FormPage):
    """Enter a lot that was bought, or that the studio made."""

    form_class = ReceiveForm
    heading = "Enter a bought lot"
    lede = "Enter it as it was weighed or labelled. The sum takes off the water."
    side_head = "The lot"
    note = "Fibre, source, mass and moisture are needed; the rest can wait"
    back = ("Store", "store")
    button = "Enter the lot"
    panel = "fibres/_sum_panel.html"
    template_name = "fibres/receive_lot.html"

    def get_form_kwargs(self) -> dict[str, Any]:
        """Leave money to those who may see it."""
        return {**super().get_form_kwargs(), "sees_money": self.sees_money}

    def get_initial(self) -> dict[str, Any]:
        """Take fibre and source from the page that leads here."""
        asked = self.request.GET
        return {name: asked[name] for name in ("fibre", "source") if name in asked}

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out oven-dry and usable fibre, and what each kilogram costs."""
        given, system = form.cleaned_data, self.studio.units
        as_is_mg, share = to_mg(given["mass"]), form.yield_used
        dry_mg = wet.oven_dry_mg(as_is_mg, given["moisture"])
        usable_mg = wet.usable_mg(dry_mg, share)
        whose = "usual for this fibre" if given["preparation_yield"] is None else "of this lot"
        lines = [
            Line("As it stands", show_mass(as_is_mg, system=system)),
            Line(
                "Less moisture",
                show_mass(dry_mg - as_is_mg, system=system),
                f"{show_share(given['moisture'])}, {given['moisture_known']}",
            ),
            Line("Oven-dry", show_mass(dry_mg, system=system), kind="line"),
            Line(
                "Less lost in preparation",
                show_mass(usable_mg - dry_mg, system=system),
                f"{show_share(1 - share)}, {whose}",
            ),
            Line("Usable fibre", show_mass(usable_mg, system=system), kind="answer"),
            *self._prices(given.get("paid"), dry_mg, usable_mg),
        ]
        return {"lines": lines}

    def _prices(self, paid: int | None, dry_mg: int, usable_mg: int) -> list[Line]:
        currency, system = self.studio.currency, self.studio.units
        return [
            Line(f"A {BY_MASS_WORDS[unit]} {word} costs", show_money(minor, currency))
            for word, mass_mg in (("oven-dry", dry_mg), ("usable", usable_mg))
            if (per_kg := paid_per_kg(paid, mass_mg)) is not None
            for minor, unit in [by_mass(per_kg, system)]
        ]

    def act(self, form: Any, key: Any) -> Lot:
        """Enter the lot."""
        given = form.cleaned_data
        return services.receive(
            Receipt(
                fibre=given["fibre"],
                source=given["source"],
                form=given["form"],
                place=given["place"],
                as_is_mg=to_mg(given["mass"]),
                moisture=given["moisture"],
                moisture_known=given["moisture_known"],
                received_on=given["received_on"],
                is_wet=given["is_wet"],
                paid_minor=given.get("paid"),
                preparation_yield=given["preparation_yield"],
                remarks=given["remarks"],
            ),
            by=self.request.user,
            key=key,
        )

    def said(self, result: Lot) -> str:
        """Say what is in store now."""
        dry = show_mass(result.oven_dry_mg, system=self.studio.units)
        return f"Lot {result.ref} is in store: {dry} oven-dry."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the sum that takes off the water."""
        return explained.entered(self.reader, as_sent(shown))


class LotAct(OneLot, FormPage):
    """A form about one lot that leads back to it."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the lot."""
        return super().get_context_data(lot=self.lot, **kwargs)


@needs("store.receive")
class LotTest(LotAct):
    """Enter the moisture of a sample that was weighed wet and oven-dry."""

    form_class = MoistureForm
    template_name = "fibres/lot_test.html"
    button = "Enter the moisture"
    panel = "fibres/_sum_panel.html"
    side_head = "The sample"
    note = "A few grams from several places in the lot"

    def get_heading(self) -> str:
        """Name the lot."""
        return f"Weigh moisture of {self.lot.ref}"

    def get_lede(self) -> str:
        """Say what the book has."""
        known = str(self.lot.get_moisture_known_display()).lower()
        return f"The book has {show_share(self.lot.moisture)}, {known}."

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out the moisture found and what it makes of the lot."""
        given, lot, system = form.cleaned_data, self.lot, self.studio.units
        found = wet.moisture_from_sample(
            given["wet"], dry_mass=given["dry"], tare_mass=given["dish"] or from_mg(0)
        )
        as_is_mg = wet.as_is_mg(lot.oven_dry_mg, lot.moisture)
        if given["has_dried"] == "yes":
            # What lies weighed out at the vat is in the book yet.
            is_parted = bool(offshelf.weighed_out([lot.pk]).get(lot.pk))
            weighs = "With what is at the vat, as is" if is_parted else "Weighs now, as is"
            after = (weighs, wet.as_is_mg(lot.oven_dry_mg, found), as_is_mg)
        else:
            after = ("Left, oven-dry", wet.oven_dry_mg(as_is_mg, found), lot.oven_dry_mg)
        name, now_mg, was_mg = after
        return {
            "lines": [
                Line("Moisture in the book", show_share(lot.moisture)),
                Line("Moisture of the sample", show_share(found), kind="line"),
                Line(f"{name} until now", show_mass(was_mg, system=system)),
                Line(name, show_mass(now_mg, system=system), kind="answer"),
            ]
        }

    def act(self, form: Any, key: Any) -> str:
        """Enter the test."""
        given = form.cleaned_data
        services.weigh_moisture(
            self.lot,
            wet_mg=to_mg(given["wet"]),
            dry_mg=to_mg(given["dry"]),
            tare_mg=to_mg(given["dish"]) if given["dish"] else 0,
            tested_on=given["happened_on"],
            has_dried=given["has_dried"] == "yes",
            by=self.request.user,
            key=key,
        )
        return self.lot.get_absolute_url()

    def said(self, result: str) -> str:
        """Say that the figure is kept."""
        return "The moisture is in the book."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what a sample says of the lot."""
        return explained.tested(self.reader, self.lot, as_sent(shown))


@needs("store.take")
class LotTake(LotAct):
    """Take fibre out of a lot."""

    form_class = TakeForm
    button = "Take it out"
    side_head = "What leaves"
    note = "Weigh it out with its water; the sum takes that off"

    def get_heading(self) -> str:
        """Name the lot."""
        return f"Take fibre out of {self.lot.ref}"

    def get_lede(self) -> str:
        """Say what is there."""
        lot, system = self.lot, self.studio.units
        as_is = show_mass(wet.as_is_mg(lot.oven_dry_mg, lot.moisture), system=system)
        dry = show_mass(lot.oven_dry_mg, system=system)
        return f"It weighs {as_is} as is and holds {dry} oven-dry."

    def act(self, form: Any, key: Any) -> str:
        """Take it out."""
        given = form.cleaned_data
        moved = services.take_out(
            self.lot,
            as_is_mg=to_mg(given["mass"]),
            kind=given["kind"],
            happened_on=given["happened_on"],
            why=given["why"],
            by=self.request.user,
            key=key,
        )
        self.taken_mg = -moved.oven_dry_mg
        return self.lot.get_absolute_url()

    def said(self, result: str) -> str:
        """Say how much fibre that was."""
        return f"{show_mass(self.taken_mg, system=self.studio.units)} oven-dry taken out."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what leaves."""
        return explained.taken(self.reader, self.lot)


@needs("store.correct")
class MovementCorrect(FormPage):
    """Put one entry of the ledger right by a contrary one."""

    form_class = CorrectForm
    button = "Enter the correction"
    side_head = "What is right"
    note = "What was entered stays on the page, and so does the correction"

    @property
    def movement(self) -> Movement:
        """The entry, read once."""
        known: Movement | None = getattr(self, "_movement", None)
        if known is None:
            rows = Movement.objects.select_related("lot", "reversed_by")
            known = self._movement = get_object_or_404(rows, pk=self.kwargs["pk"])
        return known

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead back where there is nothing to put right."""
        if request.method == "GET" and not lotbook.may_be_corrected(self.movement):
            messages.info(
                request,
                "This entry is a correction, or has been corrected already. Enter what is right "
                "as a new movement, or weigh the moisture again.",
            )
            return redirect(self.movement.lot)
        return super().dispatch(request, *args, **kwargs)

    def get_back(self) -> tuple[str, str]:
        """Lead back to the lot."""
        lot = self.movement.lot
        return (f"Lot {lot.ref}", lot.get_absolute_url())

    def get_heading(self) -> str:
        """Name the lot."""
        return f"Correct an entry of {self.movement.lot.ref}"

    def get_lede(self) -> str:
        """Say what was entered."""
        movement = self.movement
        kind = Movement.Kind(movement.kind).label
        mass = show_mass(abs(movement.as_is_mg or 0), system=self.studio.units)
        return f"{kind} on {day_in_words(movement.happened_on, 'j F')}: {mass} as is."

    def get_initial(self) -> dict[str, Any]:
        """Start from what was entered."""
        return {"mass": from_mg(abs(self.movement.as_is_mg or 0))}

    def act(self, form: forms.Form, key: Any) -> Lot:
        """Enter the correction; an entry of what a test made is put right by a new test."""
        given, movement = form.cleaned_data, self.movement
        if movement.kind == Movement.Kind.CORRECTED:
            raise StudioError("A correction stays. Enter what is right as a new movement.")
        services.correct(
            movement,
            as_is_mg=to_mg(given["mass"]),
            happened_on=given["happened_on"],
            why=given["why"],
            by=self.request.user,
            key=key,
        )
        return movement.lot

    def said(self, result: Lot) -> str:
        """Say that it is put right."""
        return "Put right. Both lines are in the book."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the entry and what puts it right."""
        return explained.corrected(self.reader, self.movement)
