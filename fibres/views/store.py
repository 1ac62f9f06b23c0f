"""The store: every fibre as it stands, and the lots that hold something."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.dateformat import format as day_in_words
from django.views.generic import TemplateView

from fibres import offshelf, queries, reference
from fibres.explained import lots as lot_sums
from fibres.explained import standing as explained
from fibres.models import Fibre, Lot, Purchase
from fibres.standing import Standing, finding, standings
from fibres.tables import LotTable, StoreTable
from studio import roles
from studio.entries import acting, enter
from studio.explaining import Explained, first_of, rows_of
from studio.forms import HouseForm
from studio.lists import house_table
from studio.pages import FormPage, HousePage
from studio.roles import needs

Step = tuple[str, str, str]


@needs("read")
class StorePage(HousePage, TemplateView):
    """What is in store. A child that knows the commissions says what is promised of it."""

    template_name = "fibres/store.html"
    heading = "Store"

    def promised_mg(self) -> Mapping[int, int]:
        """Return what is promised of each fibre, in oven-dry milligrams by its key."""
        return {}

    def short_from(self) -> Mapping[int, date]:
        """Return the day from which a promise of each fibre that falls short cannot be kept."""
        return {}

    def rows(self) -> list[Standing]:
        """Return the fibres as they stand."""
        return standings(
            queries.fibres_in_store(),
            self.promised_mg(),
            self.short_from(),
            queries.on_its_way_by_fibre(),
            offshelf.weighed_out_by_fibre(),
            self.studio.units,
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the two tables, or the first steps where nothing was ever ordered or received."""
        user = self.request.user
        may_receive = roles.can(user, "store.receive")
        if not Lot.objects.exists() and not Purchase.objects.exists():
            return super().get_context_data(
                is_empty=True, may_receive=may_receive, steps=self.steps(), **kwargs
            )
        rows = self.rows()
        held = queries.lots_for(user).filter(oven_dry_mg__gt=0)
        unit = "Pounds" if self.studio.units == "US" else "Kilograms"
        caption = f"{unit}, oven-dry, on {day_in_words(timezone.localdate(), 'j F')}"
        return super().get_context_data(
            may_receive=may_receive,
            finding=finding(rows, self.studio.units),
            fibres=house_table(
                self.request, StoreTable, rows, prefix="fibres-", paginate=False, caption=caption
            ),
            lots=house_table(
                self.request,
                LotTable,
                held,
                prefix="lots-",
                caption="Lots with fibre left, oldest first",
                caption_unseen=False,
                nothing="No lot has fibre left.",
            ),
            counts=(len(rows), held.count()),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what is free, and the first lot."""
        rows, lot = rows_of(shown.get("fibres")), first_of(shown.get("lots"))
        sums = (explained.free(self.reader, rows), explained.state(self.reader, rows))
        return sums if lot is None else (*sums, *lot_sums.came(self.reader, lot))

    def steps(self) -> list[Step]:
        """Return what to do first, as far as the reader may do it."""
        user = self.request.user
        found: list[Step] = []
        if roles.can(user, "fibres.change") and not Fibre.objects.exists():
            found.append(
                (
                    reverse("fibres_usual"),
                    "Take over the usual fibres",
                    "Fibres and classes of scrap with usual figures; change any of them later.",
                )
            )
        if roles.can(user, "store.receive"):
            found += [
                (
                    reverse("scrap_log"),
                    "Log the scrap you have",
                    "Weigh one box, or count its sheets; the rest can follow.",
                ),
                (
                    reverse("lot_receive"),
                    "Enter a bought lot",
                    "The label gives mass and moisture.",
                ),
            ]
        if roles.can(user, "fibres.change"):
            found.append(
                (
                    reverse("fibre_new"),
                    "Enter a fibre of your own",
                    "One kind in one state, with what is left of it after preparation.",
                )
            )
        return found[:3]


@needs("fibres.change")
class UsualFibres(FormPage):
    """Take over the list of usual fibres, where the studio has none yet."""

    form_class = HouseForm
    heading = "Take over the usual fibres"
    lede = (
        "The list gives each fibre its usual moisture, what is left of it after preparation, "
        "and where these figures are from."
    )
    side_head = "The list"
    note = "A fibre that you have already stays as it is"
    back = ("Store", "store")
    button = "Take them over"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead on where nothing is missing."""
        if request.method in {"GET", "HEAD"} and not reference.missing_fibres():
            return redirect("fibres")
        return super().dispatch(request, *args, **kwargs)

    def act(self, form: Any, key: Any) -> str:
        """Add the fibres that are missing."""
        page = reverse("fibres")
        with acting():
            self.added = reference.load_fibres()
            enter(
                "take over fibres",
                f"Took over {self.added} usual fibres",
                page=page,
                key=key,
                by=self.request.user,
            )
        return page

    def said(self, result: Any) -> str:
        """Say how many there are now."""
        return f"{self.added} fibres taken over. Look through the ones you use."
