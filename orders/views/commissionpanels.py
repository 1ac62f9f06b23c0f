"""What the page of a commission shows: facts, cover, cost, and the sums behind them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.http import HttpRequest

from fibres.models import Addition, Fibre
from orders import services, snapshot, wording, workings
from orders.calc.costing import Cost
from orders.calc.cover import LATER, Answer, Cover
from orders.calc.remedies import made_worse
from orders.models import Commission
from orders.tables import FibreRow, FibreTable
from orders.views.shapes import today
from orders.views.sheets import furnish_words, sheet_facts
from studio.context import current_studio
from studio.errors import StudioError
from studio.lists import house_table
from studio.models import Studio
from studio.money import show_money
from studio.templatetags.studio import in_words
from studio.units import System, show_mass, show_number, show_share
from studio.working import Line

State = Commission.State
MOVE_WORDS = {
    State.ENQUIRY: "Back to enquiry",
    State.QUOTED: "It is quoted",
    State.AGREED: "It is agreed",
    State.MAKING: "Making begins",
    State.SENT: "It is sent",
    State.CLOSED: "Close it",
    State.WITHDRAWN: "Withdraw it",
}
# Steps back are named for what they undo.
STEPS_BACK = {
    (State.AGREED, State.QUOTED): "It is not agreed yet",
    (State.MAKING, State.AGREED): "Making has not begun",
    (State.SENT, State.MAKING): "It is not sent yet",
}


def step_words(commission: Commission, to: str) -> str:
    """Name the step from where a commission stands."""
    return STEPS_BACK.get((State(commission.state), State(to)), MOVE_WORDS[State(to)])


# The usual care, said where an addition of that kind is in the furnish; common practice, no
# source. Sheets of the maker and local rules come first, as the component says each time.
ADDITION_CARE = {
    Addition.Kind.PIGMENT: "keep powder out of the air; wear a mask and gloves, and wet it first.",
    Addition.Kind.FILLER: "pour powder slowly and wear a mask; do not sweep it up dry.",
    Addition.Kind.SIZING: "wear gloves and glasses, and keep it off the floor: it is slippery.",
    Addition.Kind.RETENTION_AID: "wear gloves and glasses; what is spilt is very slippery.",
}


# --- facts -------------------------------------------------------------------------------------


def facts(
    commission: Commission, standing: services.Standing, studio: Studio
) -> list[tuple[str, ...]]:
    """Return what is asked for, by when its fibre is needed and what the client limits."""
    rows: list[tuple[str, ...]] = [
        ("Good sheets", show_number(commission.good_quantity)),
        ("Sheet", commission.sheet.name, commission.sheet.get_absolute_url()),
        *sheet_facts(commission.sheet, studio),
    ]
    if commission.tolerance_over:
        rows.append(("Client takes over", f"up to {show_share(commission.tolerance_over)} more"))
    return [*rows, *_days(commission, standing), *_limits(commission)]


def _days(commission: Commission, standing: services.Standing) -> list[tuple[str, ...]]:
    """Say by when fibre has to be in, as long as it can still be got."""
    answer = standing.answer
    if answer is None or not answer.need_mg:
        return []
    slot, needed = standing.turns.latest[commission.ref], answer.fibre_day
    soaking = standing.turns.soaking[commission.ref]
    taken = slot.days.days if slot.days else slot.making_days
    said = f"{_so_many_days(taken)} to form, dry and pack"
    if soaking:
        said += f", {_so_many_days(soaking)} to prepare it"
    if slot.beside:
        said += f", and done before {slot.beside} takes the {slot.dryer}"
    if needed == commission.not_before:
        said = "it is not made before then"
    return [("Fibre needed by", f"{wording.day(needed, today())}: {said}")]


def _so_many_days(count: int) -> str:
    return f"{count} day{'' if count == 1 else 's'}"


def _limits(commission: Commission) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    if commission.no_scrap:
        rows.append(("Limit", "No scrap or broke in it"))
    lots = commission.only_lots.order_by("ref").values_list("ref", flat=True)
    rows.append(("Only these lots", ", ".join(lots)))
    if commission.not_before:
        rows.append(("Not made before", wording.day(commission.not_before, today())))
    if commission.all_or_nothing:
        rows.append(("Whole, or not at all", "Without all its fibre none is set aside"))
    if commission.claim_recycled:
        rows.append(("Recycled, at least", show_share(commission.claim_recycled)))
    return rows


def made_of(commission: Commission, studio: Studio) -> list[tuple[str, ...]]:
    """Return furnish, additions, culls, pulls and fibre, label by label."""
    sheet = commission.sheet
    rows: list[tuple[str, ...]] = [
        ("Furnish", furnish_words(sheet.furnish_id), sheet.furnish.get_absolute_url())
    ]
    additions = Addition.objects.filter(furnish_id=sheet.furnish_id).values_list("name", "dose")
    doses = ", ".join(f"{name} {show_share(dose)}" for name, dose in additions)
    rows += [
        ("Additions", f"{doses} on dry fibre" if doses else ""),
        ("Culled", f"{show_share(sheet.broke)} broke, {show_share(sheet.retree)} retree"),
    ]
    try:
        need = workings.need_of(_spec(commission, studio), commission.good_quantity)
    except StudioError:
        return rows
    vat = show_mass(round(need.vat_fibre_g * 1000), system=studio.units)
    safe = show_number(need.pulls_safe)
    rows += [
        ("Pulls", f"{show_number(need.pulls_average)} on average, {safe} to be safe"),
        ("Into the vat", f"{vat} of usable fibre"),
    ]
    return rows


def _spec(commission: Commission, studio: Studio) -> Any:
    return snapshot.spec_of(commission.sheet, studio, snapshot.read_shrinkages())


def cautions(commission: Commission, fibres: Sequence[Fibre]) -> list[str]:
    """Return the cautions of what is in the furnish; what shares one is named before it."""
    found: dict[str, list[str]] = {}
    for fibre in fibres:
        if fibre.cautions:
            found.setdefault(fibre.cautions, []).append(fibre.name)
    additions = Addition.objects.filter(furnish_id=commission.sheet.furnish_id)
    for name, kind in additions.values_list("name", "kind"):
        care = ADDITION_CARE.get(Addition.Kind(kind))
        if care:
            found.setdefault(care, []).append(name)
    return [f"{', '.join(names)}: {care}" for care, names in found.items()]


# --- cover -------------------------------------------------------------------------------------


def lede(
    commission: Commission,
    answer: Answer | None,
    costs: Sequence[Cost],
    *,
    left_out: str,
    system: System,
) -> str:
    """Say how it stands and, to who sees money, what it costs."""
    if left_out:
        return f"It cannot be reckoned yet: {left_out}"
    if answer is None:
        said = f"It is {commission.get_state_display().lower()}; nothing is set aside for it."
    else:
        said = wording.finding(answer, today(), system)
        if not commission.is_promise:
            said = f"If it were agreed: {said[0].lower()}{said[1:]}"
    if costs:
        cost = costs[0]
        each = show_money(cost.total_minor_per_sheet, cost.currency)
        price = show_money(cost.price_minor_per_sheet, cost.currency)
        said = f"{said} It costs {each} a good sheet; the price comes to {price}."
    return said


def cover_context(
    request: HttpRequest, standing: services.Standing, fibres: dict[str, Fibre]
) -> dict[str, Any]:
    """Return the cover table with its mark, how sure it is, what binds, and the ways out."""
    answer = standing.answer
    if answer is None:
        return {"answer": None}
    now, system = today(), current_studio(request).units
    unit = "lb" if system == "US" else "kg"
    plans = services.plan_by_fibre(answer)
    rows = [_fibre_row(plan, answer, now, system) for plan in _in_order(plans, fibres)]
    table = house_table(
        request,
        FibreTable,
        rows,
        paginate=False,
        caption=f"Fibre for {show_number(answer.wanted)} good sheets, {unit} oven-dry",
    )
    return {
        "answer": answer,
        "cover_mark": wording.mark_of(answer, now),
        "cover_table": table,
        "said_of_cover": wording.standing(standing.snapshot, standing.cover, answer, system),
        **_ways_context(request, standing, fibres),
    }


def _ways_context(
    request: HttpRequest, standing: services.Standing, fibres: dict[str, Fibre]
) -> dict[str, Any]:
    answer = standing.answer
    if answer is None or not answer.short:
        return {}
    studio = current_studio(request)
    reader = wording.Reader(
        today=standing.cover.today,
        system=studio.units,
        currency=studio.currency if standing.with_prices else "",
        usual_moisture={name: fibre.usual_moisture for name, fibre in fibres.items()},
    )
    ways = wording.ways_out(standing.ways_out(), answer, reader)
    count = len([way for way in ways if way.is_way])
    return {"ways": ways, "ways_word": _ways_word(count)}


def _ways_word(count: int) -> str:
    return f"{in_words(count).capitalize()} way{'' if count == 1 else 's'} out."


def _in_order(
    plans: Sequence[services.FibrePlan], fibres: dict[str, Fibre]
) -> list[services.FibrePlan]:
    order = {name: place for place, name in enumerate(fibres)}
    return sorted(plans, key=lambda plan: order.get(plan.fibre, len(order)))


def _fibre_row(plan: services.FibrePlan, answer: Answer, now: date, system: System) -> FibreRow:
    mark = ("covered", "Covered")
    if plan.short_mg:
        mark = ("short", "Short")
        if answer.state == LATER and answer.ready_on:
            mark = ("order", f"From {wording.day(answer.ready_on, now)}")
    return FibreRow(
        fibre=plan.fibre,
        needs_mg=plan.needs_mg,
        set_aside_mg=plan.set_aside_mg,
        short_mg=plan.short_mg or None,
        lots=tuple((pick.lot, show_mass(pick.as_is_mg, system=system)) for pick in plan.picks),
        cover=mark,
    )


def worse_words(commission: Commission, cover: Cover) -> str:
    """Say which promises would be worse off if this one were agreed."""
    if commission.is_promise or not commission.is_open:
        return ""
    before = services.cover(cover.today)
    return worse_sentence(made_worse(before, cover), cover.today)


def worse_sentence(worse: Sequence[Answer], now: date) -> str:
    """Word what another promise takes from those that stand after it."""
    if not worse:
        return ""
    said = [
        f"{answer.ref} would be {wording.mark_of(answer, now)[1].lower()}, with "
        f"{show_number(answer.covered_sheets)} of {show_number(answer.wanted)} good sheets"
        for answer in worse
    ]
    return f"It takes fibre that is set aside: {'; '.join(said)}."


# --- workings ----------------------------------------------------------------------------------


def count_lines(commission: Commission, studio: Studio) -> list[Line]:
    """Set out fibre of a sheet, pulls, and the fibre into the vat."""
    try:
        need = workings.need_of(_spec(commission, studio), commission.good_quantity)
    except StudioError:
        return []
    return workings.vat_lines(need, studio.units)


def weigh_lines(answer: Answer | None, fibres: dict[str, Fibre], system: System) -> list[Line]:
    """Set out what each fibre takes, and what to weigh out of each lot."""
    if answer is None:
        return []
    plans = _in_order(services.plan_by_fibre(answer), fibres)
    return workings.fibre_lines(plans, system)
