"""The way from an empty store to the first answer: five steps, which are done, which is next.

One query tells how far a studio is. It is asked on every page of an owner, so that the page on
which a step ends can name the step that follows.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import Exists, QuerySet, Subquery
from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import SimpleLazyObject
from django.utils.http import urlencode

from fibres.models import Fibre, Furnish, Lot
from orders.models import Commission, Sheet
from studio import roles
from studio.entries import AlreadyEnteredError, enter
from studio.models import Entry
from studio.pages import SHORT

# The one entry that puts the steps away for the whole studio has this key, whoever makes it: it
# is written once, and the index of the keys finds it.
AWAY = uuid.UUID("6f1f0c52-9d0e-4b34-8a3e-5d2b7c1e0a94")
# Who may take every step is led along all pages; for others Today alone says how far it is.
LED = "orders.change"


@dataclass(frozen=True, slots=True)
class Outline:
    """A step as it is written down: what it is, and where it is taken."""

    words: str
    hint: str
    deed: str
    route: str
    need: str
    # Another page that takes the same step, with the words that lead there.
    other: tuple[str, str] | None = None


OUTLINES = (
    Outline(
        words="Take over the usual fibres",
        hint="With their usual moisture and what is left after preparation.",
        deed="Take over the usual fibres",
        route="fibres_usual",
        need="fibres.change",
    ),
    Outline(
        words="Enter a lot",
        hint="Scrap that was given, weighed or counted.",
        deed="Log scrap",
        route="scrap_log",
        need="store.receive",
        other=("Or enter a lot that was bought", "lot_receive"),
    ),
    Outline(
        words="Write down a furnish",
        hint="The fibres of a sheet, by their share of the dry mass.",
        deed="Write a furnish",
        route="furnish_new",
        need="furnishes.change",
    ),
    Outline(
        words="Enter a sheet",
        hint="Its name, size and grammage; the usual losses are filled in.",
        deed="Enter a sheet",
        route="sheet_new",
        need="sheets.change",
    ),
    Outline(
        words="Enter a commission",
        hint="For whom, how many good sheets and by when; one that might come will do.",
        deed="Enter a commission",
        route="commission_new",
        need="orders.change",
    ),
)


@dataclass(frozen=True, slots=True)
class Step:
    """One step for one person; without an address somebody else has to take it."""

    number: int
    outline: Outline
    address: str
    other: tuple[str, str] | None
    is_done: bool

    @property
    def words(self) -> str:
        """What there is to do, and who does it where the reader cannot."""
        words = self.outline.words
        return words if self.address or self.is_done else f"{words} (the owner does this)"

    @property
    def done_words(self) -> str:
        """What was done."""
        return f"Done: {self.outline.words[0].lower()}{self.outline.words[1:]}"

    def is_at(self, path: str) -> bool:
        """Tell whether a page is the one on which the step is taken."""
        pages = {self.address, self.other[1] if self.other else ""}
        return path in {page.partition("?")[0] for page in pages if page}


@dataclass(frozen=True, slots=True)
class Way:
    """All steps, and how far the studio is on them."""

    steps: tuple[Step, ...]
    is_away: bool
    # The commission that was answered first.
    answered: str

    @property
    def done(self) -> int:
        """How many steps are done."""
        return sum(step.is_done for step in self.steps)

    @property
    def next(self) -> Step | None:
        """The first step that is not done; none once there is an answer."""
        if self.is_over:
            return None
        return next((step for step in self.steps if not step.is_done), None)

    @property
    def is_over(self) -> bool:
        """Whether a commission has been answered, whatever has been emptied since."""
        return self.steps[-1].is_done

    @property
    def is_open(self) -> bool:
        """Whether the steps still lead."""
        return not (self.is_over or self.is_away)

    @property
    def lede(self) -> str:
        """How many steps are left, in words."""
        if self.is_over:
            return "All steps are done."
        left = len(self.steps) - self.done
        if not self.done:
            return f"Nothing is entered yet. {left} steps lead to the first answer."
        return f"{left} step{' leads' if left == 1 else 's lead'} to the first answer."


def way_for(user: Any) -> Way:
    """Return the way as one person can go it, in one query."""
    newest_lot = _newest(Lot.objects.all(), "fibre")
    furnishes = Furnish.objects.filter(parts__isnull=False)
    found = (
        get_user_model()
        .objects.filter(pk=user.pk)
        .annotate(
            has_fibre=Exists(Fibre.objects.all()),
            fibre=newest_lot,
            furnish=_newest(furnishes, "pk"),
            sheet=_newest(Sheet.objects.all(), "pk"),
            ref=Subquery(Commission.objects.order_by("pk").values("ref")[:1]),
            away=Exists(Entry.objects.filter(request_key=AWAY)),
        )
        .values("has_fibre", "fibre", "furnish", "sheet", "ref", "away")
        .get()
    )
    done = [found["has_fibre"], *(found[name] is not None for name in BROUGHT), bool(found["ref"])]
    # What a step has made is chosen already on the page of the next.
    brought: list[dict[str, Any]] = [{}, {}]
    brought += [{name: found[name]} if found[name] else {} for name in BROUGHT]
    steps = tuple(
        _step(number, outline, user, brought[number - 1], is_done)
        for number, (outline, is_done) in enumerate(zip(OUTLINES, done, strict=True), 1)
    )
    return Way(steps, is_away=found["away"], answered=found["ref"] or "")


BROUGHT = ("fibre", "furnish", "sheet")


def _newest(rows: QuerySet[Any], field: str) -> Subquery:
    return Subquery(rows.order_by("-pk").values(field)[:1])


def _step(
    number: int, outline: Outline, user: Any, brought: dict[str, Any], is_done: bool
) -> Step:
    if not roles.can(user, outline.need):
        return Step(number, outline, "", None, is_done)
    asked = f"?{urlencode({SHORT: 1, **brought})}"
    other = (outline.other[0], reverse(outline.other[1])) if outline.other else None
    return Step(number, outline, f"{reverse(outline.route)}{asked}", other, is_done)


def put_away(by: Any) -> None:
    """Stop leading along every page, for the whole studio; done twice it is done once."""
    try:
        enter(
            "put away first steps", "Put the first steps away", page=reverse("today"), key=AWAY,
            by=by,
        )  # fmt: skip
    except AlreadyEnteredError:
        return


# --- on every page ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Leading:
    """What a page says of the way: the step that is next, and whether it is taken here."""

    step: Step
    of: int
    is_here: bool
    # Whether the page shows only what the step cannot do without.
    is_short: bool


def _leading(request: HttpRequest) -> Leading | None:
    user = getattr(request, "user", None)
    if not roles.role_of(user) or not roles.can(user, LED):
        return None
    if request.path in {reverse("today"), reverse("first_steps")}:
        # There they stand in full.
        return None
    way = way_for(user)
    step = way.next
    if step is None or not way.is_open:
        return None
    return Leading(
        step,
        len(way.steps),
        is_here=step.is_at(request.path),
        is_short=SHORT in request.GET,
    )


def leading(request: HttpRequest) -> dict[str, Any]:
    """Put the next step into a template's context; asked only if the template asks."""
    return {"leading": SimpleLazyObject(lambda: _leading(request))}
