"""What the log of a making shows: rows of buttons, and what was noted, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from urllib.parse import urlencode

from django.db.models import QuerySet, Sum
from django.urls import reverse

from fibres import lotbook
from fibres.calc import moisture as wet
from fibres.models import Lot
from orders.makings import log, weighing
from orders.makings.planning import spec_of
from orders.makings.standing import standing
from orders.models import Fault, Making, Post, Spell, TrialSheet
from studio.errors import StudioError
from studio.sizes import Size
from studio.units import System, show_mass, show_number, show_share, show_size

COUNT_NAMES = {"pulls": "Pulls", "good": "Good", "retree": "Retree", "broke": "Broke"}
COUNT_STEPS = {"pulls": (-1, 1, 5), "good": (-1, 1, 10), "retree": (-1, 1, 5), "broke": (-1, 1, 5)}
FAULT_STEPS = (-1, 1)
MINUTE_STEPS = (-5, 5, 15)


@dataclass(frozen=True, slots=True)
class Button:
    """One button of a row: what it sends, what it says, what it is called aloud."""

    value: str
    words: str
    label: str
    is_first: bool
    has_focus: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A count with its buttons."""

    name: str
    count: str
    buttons: tuple[Button, ...]

    @property
    def has_focus(self) -> bool:
        """Whether it is the row that was tapped last."""
        return any(button.has_focus for button in self.buttons)


@dataclass(frozen=True, slots=True)
class Noted:
    """One thing noted, with what more is to be said of it and how to put it right."""

    words: str
    more: str = ""
    back: str = ""
    link: str = ""
    link_words: str = ""


def whole_number(text: str, *, most: int) -> int:
    """Return a number that a button sent; what no button sends is refused."""
    try:
        number = int(text)
    except ValueError:
        number = most + 1
    if not -most <= number <= most:
        raise StudioError("No button of this page sends that. Tap one of those shown.")
    return number


def minutes_of(number: int) -> Decimal:
    """Return whole minutes as the log keeps them."""
    return Decimal(number)


def with_query(address: str, asked: dict[str, str]) -> str:
    """Return an address that asks for something."""
    return f"{address}?{urlencode(asked)}"


def chosen_post(making: Making, asked: str) -> Post | None:
    """Return the post asked for by its number, else the last one."""
    posts = list(making.posts.all())
    wanted = next((post for post in posts if str(post.number) == asked), None)
    return wanted or (posts[-1] if posts else None)


def count_rows(counts: dict[str, int], at: str) -> list[Row]:
    """Return counts by name, each with its buttons."""
    return [
        _row("count", what, name, counts[what], COUNT_STEPS[what], at)
        for what, name in COUNT_NAMES.items()
    ]


def counts_of(post: Post) -> dict[str, int]:
    """Return the counts of one post by name."""
    return {name: getattr(post, name) for name in log.COUNTED}


def fault_rows(faults: QuerySet[Fault], at: str) -> list[Row]:
    """Return every fault that can be seen, with how often it was."""
    times = dict(faults.order_by().values_list("kind").annotate(Sum("times")))
    return [
        _row("fault", str(kind), str(label), times.get(kind, 0), FAULT_STEPS, at)
        for kind, label in Fault.Kind.choices
    ]


def faults_of(making: Making, post: Post | None) -> QuerySet[Fault]:
    """Return the faults of one post, or of all."""
    return post.faults.all() if post else Fault.objects.filter(post__making=making)


def minutes_in_all(making: Making) -> str:
    """Word the minutes of all operations together."""
    minutes = sum(making.spells.values_list("minutes", flat=True), Decimal(0))
    return f"{show_number(minutes)} minute{'' if minutes == 1 else 's'} in all"


def minute_rows(making: Making, at: str) -> list[Row]:
    """Return every operation with the minutes spent on it."""
    spent = dict(making.spells.values_list("operation", "minutes"))
    return [
        _row("minutes", str(kind), str(label), spent.get(kind, Decimal(0)), MINUTE_STEPS, at)
        for kind, label in Spell.Operation.choices
    ]


def _row(
    kind: str, what: str, name: str, count: int | Decimal, steps: Iterable[int], at: str
) -> Row:
    shown = show_number(count)
    forward = next(step for step in steps if step > 0)
    return Row(
        name,
        shown,
        tuple(
            Button(
                value=f"{kind}:{what}:{step}",
                words=f"+{step}" if step > 0 else f"−{-step}",
                label=f"{name}, {shown} now",
                is_first=what == "pulls" and step == forward,
                has_focus=what == at and step == forward,
            )
            for step in steps
        ),
    )


def totals(making: Making) -> dict[str, int]:
    """Return pulls and sheets of all posts together."""
    found = making.posts.aggregate(**{name: Sum(name) for name in log.COUNTED})
    return {name: found[name] or 0 for name in log.COUNTED}


def lede(making: Making) -> str:
    """Say in one sentence how far the making is."""
    state = Making.State(making.state)
    if state == Making.State.PLANNED:
        return (
            f"Planned: {show_number(making.pulls)} pulls for {show_number(making.wanted_good)} "
            "good sheets. Start it when the first fibre is weighed out."
        )
    counted = totals(making)
    sheets = f"{show_number(counted['good'])} good and {show_number(counted['retree'])} retree"
    if state == Making.State.AT_THE_VAT:
        return (
            f"{show_number(counted['pulls'])} of {show_number(making.pulls)} pulls; {sheets} so "
            "far. Nothing leaves the store until it is finished."
        )
    if state == Making.State.FINISHED:
        return f"Finished with {sheets}. All of it is in the book."
    return "Given up. Nothing of it left the store."


def issue_notes(making: Making, system: System, *, may_correct: bool) -> list[Noted]:
    """Return what was weighed out of which lot, as it now stands."""
    issues = list(making.issues.select_related("lot__fibre", "movement").order_by("pk"))
    stands = standing(issue.movement for issue in issues if issue.movement)
    found = []
    for issue in issues:
        as_is, dry, note = issue.as_is_mg, issue.oven_dry_mg, ""
        back, link = "", ""
        if issue.movement_id is None:
            back = reverse("making_issue_back", args=[making.ref, issue.pk])
        else:
            now = stands[issue.movement_id]
            if now is None or now.pk != issue.movement_id:
                was = show_mass(as_is, system=system)
                note = f"; entered as {was} and corrected since"
            as_is = -(now.as_is_mg or 0) if now else 0
            dry = -now.oven_dry_mg if now else 0
            if may_correct and now is not None and lotbook.may_be_corrected(now):
                link = reverse("movement_correct", args=[now.pk])
        found.append(
            Noted(
                f"{issue.lot.ref} {issue.lot.fibre.name}",
                f"{show_mass(as_is, system=system)} as is at {show_share(issue.moisture)}, "
                f"{show_mass(dry, system=system)} oven-dry{note}",
                back,
                link,
                "Correct it" if link else "",
            )
        )
    return found


def proposed(making: Making, system: System) -> list[Noted]:
    """Return lots of the furnish that nothing was weighed out of yet."""
    own, stand_ins = weighing.furnish_fibres(making)
    used = set(making.issues.values_list("lot_id", flat=True))
    address = reverse("making_issue", args=[making.ref])
    return [
        Noted(
            f"{lot.ref} {lot.fibre.name}",
            f"{show_mass(wet.as_is_mg(lot.oven_dry_mg, lot.moisture), system=system)} as is at "
            f"{show_share(lot.moisture)}{', ' + lot.place if lot.place else ''}",
            link=with_query(address, {"lot": lot.ref}),
            link_words="Weigh out",
        )
        for lot in weighing.lots_for(making).filter(fibre__in=[*own, *stand_ins])[:12]
        if lot.pk not in used
    ]


def dose_notes(making: Making, system: System) -> list[Noted]:
    """Return what was added beside fibre."""
    address = reverse("making_dose", args=[making.ref])
    return [
        Noted(
            dose.name,
            f"{show_mass(dose.mass_mg, system=system)} dry"
            f"{', from ' + dose.bottle if dose.bottle else ''}",
            link=with_query(address, {"name": dose.name}) if making.is_open else "",
            link_words="Change it",
        )
        for dose in making.doses.all()
    ]


def trial_notes(making: Making) -> list[Noted]:
    """Return the sheets that were dried and weighed."""
    return [
        Noted(
            f"Pull {show_number(trial.number)}: {show_mass(trial.mass_mg, unit='g', places=2)}",
            _trial_more(trial),
            reverse("making_trial_back", args=[making.ref, trial.pk]) if making.is_open else "",
        )
        for trial in making.trial_sheets.all()
    ]


def _trial_more(trial: TrialSheet) -> str:
    words = f"at {show_share(trial.moisture)} moisture"
    if trial.width_um and trial.height_um:
        words += f", {show_size(Size(trial.width_um, trial.height_um))}"
    return words


def heel_words(making: Making, system: System) -> str:
    """Say what becomes of what is left in the vat."""
    if not making.heel:
        return "Not said yet: kept, thrown away, or nothing left."
    words = str(making.get_heel_display())
    if making.heel_as_is_mg and making.heel_moisture is not None:
        words += f": {_weighed(making.heel_as_is_mg, making.heel_moisture, system)}"
    return f"{words}{_lot_words(making.heel_lot)}."


def broke_words(making: Making, system: System) -> str:
    """Say what is kept of broke and trimmings."""
    if not making.broke_as_is_mg or making.broke_moisture is None:
        return "None kept: what is faulty counts as lost."
    weighed = _weighed(making.broke_as_is_mg, making.broke_moisture, system)
    return f"Kept as a lot: {weighed}{_lot_words(making.broke_lot)}."


def _lot_words(lot: Lot | None) -> str:
    return f", now {lot.ref}" if lot else ""


def _weighed(as_is_mg: int, moisture: Decimal, system: System) -> str:
    dry = show_mass(wet.oven_dry_mg(as_is_mg, moisture), system=system)
    return f"{show_mass(as_is_mg, system=system)} at {show_share(moisture)}, {dry} oven-dry"


def odd_words(making: Making) -> list[str]:
    """Say what may have been forgotten or counted wrong; a making is finished all the same."""
    counted = totals(making)
    spec = spec_of(making)
    per_pull = 1 if spec.layout is None else spec.layout.pieces
    sorted_ = counted["good"] + counted["retree"] + counted["broke"]
    formed = counted["pulls"] * per_pull
    found = [
        f"The furnish asks for {name}, and none of it was weighed out."
        for name in _not_weighed_out(making)
    ]
    if not sorted_:
        found.append("Not one sheet is counted: all of the fibre will be counted as lost.")
    if sorted_ > formed:
        found.append(
            f"{show_number(sorted_)} sheets were sorted and {show_number(formed)} formed. Count "
            "the pulls again."
        )
    elif formed > sorted_:
        found.append(
            f"{show_number(formed)} sheets were formed and {show_number(sorted_)} sorted. What "
            "lies in the dryer is not in hand yet."
        )
    return found


def _not_weighed_out(making: Making) -> list[str]:
    """Return the fibres of the furnish of which nothing was taken, nor of what may stand in."""
    taken = set(making.issues.values_list("lot__fibre", flat=True))
    parts = making.sheet.furnish.parts.select_related("fibre").prefetch_related("substitutes")
    return [
        part.fibre.name
        for part in parts
        if not taken & {part.fibre_id, *(fibre.pk for fibre in part.substitutes.all())}
    ]


def in_a_row(words: list[str]) -> str:
    """Join words as a person lists them."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if words[1:] else words)
