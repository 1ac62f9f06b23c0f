"""The log of a making on a phone at the vat: counts by one tap, notes by short forms."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.functional import cached_property
from django.views import View
from django.views.generic import TemplateView

from orders.explained import making as explained
from orders.makings import log
from orders.models import Making
from orders.views import makinglogcounts as counts
from orders.views import makinglogpanels as panels
from studio import outages, roles
from studio.context import current_studio
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.explaining import Explained
from studio.pages import HousePage
from studio.roles import needs

NOT_COUNTED = (
    "Not counted: the database could not take it just now. Tap once more in a moment; what was "
    "counted before is kept."
)
COUNTED_ALREADY = (
    "That was noted already, and it is counted once. If two were meant, tap once more now that "
    "the count has changed."
)
MOST_AT_ONCE = 1000


class OneMaking:
    """A page about one making, named in its address."""

    kwargs: dict[str, Any]
    request: HttpRequest

    @cached_property
    def making(self) -> Making:
        """Read the making, once a request."""
        rows = Making.objects.select_related(
            "sheet__mould", "sheet__furnish", "commission", "mould", "vat", "broke_lot", "heel_lot"
        )
        return get_object_or_404(rows, ref__iexact=self.kwargs["ref"])

    @property
    def may_log(self) -> bool:
        """Whether who looks may note anything."""
        return roles.can(self.request.user, "makings.change")


@needs("read")
class MakingLog(OneMaking, HousePage, TemplateView):
    """What has been noted of a making, and the buttons that note more."""

    template_name = "orders/makings/log.html"

    def get_heading(self) -> str:
        """Name the making."""
        return f"Log of {self.making.ref}"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Read all that was noted, and the balance as it stands."""
        making, system = self.making, self.studio.units
        post = counts.chosen_post(making, self.request.GET.get("post", ""))
        at = self.request.GET.get("at", "")
        may_log = self.may_log and making.is_open
        # Who only reads wants the whole making, not one post of it.
        one_post = post if may_log else None
        counted = counts.counted_so_far(making, one_post, at, system)
        is_at_the_vat = making.state == Making.State.AT_THE_VAT
        return super().get_context_data(
            making=making,
            is_planned=making.state == Making.State.PLANNED,
            is_at_the_vat=is_at_the_vat,
            is_finished=making.state == Making.State.FINISHED,
            may_log=may_log,
            page_key=uuid.uuid4(),
            post=post,
            one_post=one_post,
            posts=making.posts.all(),
            **counted,
            minutes_open=not may_log or any(row.has_focus for row in counted["minutes"]),
            issues=panels.issue_notes(
                making, system, may_correct=roles.can(self.request.user, "store.correct")
            ),
            to_weigh=panels.to_weigh(making, system) if may_log and is_at_the_vat else [],
            doses=panels.dose_notes(making, system),
            trials=panels.trial_notes(making, system),
            heel=panels.heel_words(making, system),
            broke=panels.broke_words(making, system),
            onward=panels.onward(making, self.request.user),
            commission=making.commission,
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how counts and fibre are added up."""
        return explained.of_log(shown, self.studio.units)


class LogPost(OneMaking, View):
    """One tap: a small page of its own that is safe to send twice.

    The page that is shown carries one key, and each button on it a key that follows from it: of
    the same button under the same key only one sending counts, and two people have two keys.
    """

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead to the log; a tap is only ever posted."""
        return redirect(log.page_of(self.making))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Note it, and lead back to where the button was."""
        back, tell, said = log.page_of(self.making), messages.info, ""
        try:
            back = self.note() or back
        except AlreadyEnteredError:
            said = COUNTED_ALREADY
            back = self.again() or back
        except StudioError as refusal:
            tell, said = messages.error, str(refusal)
        except OperationalError as fault:
            tell, said = messages.error, outages.sentence(fault, NOT_COUNTED)
        return self.answer(back, tell, said)

    def answer(self, back: str, tell: Callable[..., None], said: str) -> HttpResponse:
        """Lead back, with what there is to say."""
        if said:
            tell(self.request, said)
        return redirect(back)

    def note(self) -> str:
        """Do what the button says; return where it stands, or nothing for the top of the log."""
        raise NotImplementedError

    def again(self) -> str:
        """Return where to lead a tap that was counted before."""
        return ""

    def key_for(self, *what: Any) -> uuid.UUID:
        """Return the key of one button of the page that was sent."""
        try:
            page = uuid.UUID(self.request.POST.get("page_key", ""))
        except ValueError:
            message = "This page was sent without its key. Look it over and tap once more."
            raise StudioError(message) from None
        return uuid.uuid5(page, "|".join(map(str, [self.making.ref, *what])))


@needs("makings.change")
class MakingStart(LogPost):
    """Begin a planned making."""

    def note(self) -> str:
        """Start it."""
        log.start(self.making, by=self.request.user, key=self.key_for("start"))
        messages.success(self.request, f"{self.making.ref} is at the vat.")
        return ""


@needs("makings.change")
class MakingTap(LogPost):
    """Count one more pull, sheet, fault or five minutes; or take it back.

    With script the page stays, and the answer brings the new counts and a new key: taps wait for
    each other, so each takes the key of the answer before it, and two quick ones are two. Where an
    answer is lost the key stays, and the tap that follows is known for the same one. Without
    script the page comes anew, and two quick taps are one, which the page says.
    """

    def note(self) -> str:
        """Count what the button says, in the post that the page showed."""
        tapped = self.request.POST.get("tap", "")
        kind, what, change = self._parts()
        post = self.request.POST.get("post", "")
        key = self.key_for(post, tapped)
        by = self.request.user
        if kind == "post":
            begun = log.begin_post(self.making, by=by, key=key)
            return self._at("pulls", begun.number)
        number = counts.whole_number(change, most=MOST_AT_ONCE)
        if kind == "minutes":
            log.spend(self.making, what, counts.minutes_of(number), by=by, key=key)
        else:
            counted = counts.whole_number(post, most=1_000_000)
            log.tap(self.making, what, post=counted, change=number, by=by, key=key)
        return self.again()

    def again(self) -> str:
        """Lead back to the button that was tapped."""
        return self._at(self._parts()[1], self.request.POST.get("post", ""))

    def answer(self, back: str, tell: Callable[..., None], said: str) -> HttpResponse:
        """Bring the new counts where the page stays."""
        if not self.request.htmx:  # type: ignore[attr-defined]
            return super().answer(back, tell, said)
        making = self.making
        post = counts.chosen_post(making, self.request.POST.get("post", ""))
        _, what, _ = self._parts()
        system = current_studio(self.request).units
        counted = counts.counted_so_far(making, post, what, system)
        rows = [*counted["counts"], *counted["faults"], *counted["minutes"]]
        tapped = next((row for row in rows if row.has_focus), None)
        return render(
            self.request,
            "orders/makings/_tapped.html",
            {
                **counted,
                "making": making,
                "one_post": post,
                "rows": rows,
                "said": said,
                "tapped": tapped,
                "page_key": uuid.uuid4(),
                "opens_faults": what == "broke" and counted["faults_open"],
            },
        )

    def _parts(self) -> tuple[str, str, str]:
        """Return the kind of what was tapped, what it is, and by how much it changes."""
        kind, _, what = self.request.POST.get("tap", "").partition(":")
        what, _, change = what.partition(":")
        return kind, what, change

    def _at(self, what: str, post: Any) -> str:
        where = {"post": str(post), "at": what}
        return panels.with_query(log.page_of(self.making), where)


@needs("makings.change")
class MakingIssueBack(LogPost):
    """Put back what was weighed out by mistake."""

    def note(self) -> str:
        """Take the issue out of the log."""
        pk = self.kwargs["pk"]
        key = self.key_for("issue", pk)
        log.take_back_issue(self.making, pk, by=self.request.user, key=key)
        return f"{log.page_of(self.making)}#issues"


@needs("makings.change")
class MakingTrialBack(LogPost):
    """Take out a weighed sheet that was entered by mistake."""

    def note(self) -> str:
        """Take the sheet out of the log."""
        pk = self.kwargs["pk"]
        key = self.key_for("trial", pk)
        log.take_back_trial(self.making, pk, by=self.request.user, key=key)
        return f"{log.page_of(self.making)}#trials"
