"""The sentences about cover, the same on a page and in the terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from orders.calc.covered import COVERED, JUST_COVERED, LATER, Answer, Binding, Cover
from orders.calc.planrows import Snapshot
from orders.calc.remedies import mix_used as used_mix
from orders.calc.ways import AnotherDay, Buy, FurnishChange, InTwo, Mix, SwapOrder, Way
from studio.money import show_money
from studio.units import System, show_mass, show_number, show_share

MG_PER_KG = 1_000_000
MOST_NAMED = 6
ALL_MADE = "All its sheets are made, so it holds no fibre."
# State of an answer: the mark on the page, and its word.
MARKS = {COVERED: ("covered", "Covered"), JUST_COVERED: ("near", "Just covered")}


def day(value: date, today: date) -> str:
    """Word a day; the year only where it is not this one."""
    year = f" {value.year}" if value.year != today.year else ""
    return f"{value:%a} {value.day} {value:%b}{year}"


def mark_of(answer: Answer, today: date) -> tuple[str, str]:
    """Return the mark and the word for the state of an answer."""
    if answer.state == LATER and answer.ready_on:
        return "order", f"Covered from {day(answer.ready_on, today)}"
    return MARKS.get(answer.state, ("short", "Short"))


def exact(mass_mg: int, system: System) -> str:
    """Word a mass to the gram: what is missing is often little."""
    is_large = system == "metric" and mass_mg >= MG_PER_KG
    return show_mass(mass_mg, system=system, places=3 if is_large else None)


def lacks(answer: Answer, system: System = "metric") -> str:
    """Say what is missing: the fibre and the oven-dry mass of each."""
    said = [
        f"{exact(lack.oven_dry_mg, system)} oven-dry of {' or '.join(lack.fibres)}"
        for lack in answer.short
    ]
    return f"{' and '.join(said)} {'is' if len(said) == 1 else 'are'} missing"


def finding(answer: Answer, today: date, system: System = "metric") -> str:
    """Say how a commission stands, and first that it is late, if it is."""
    late = f"It was due on {day(answer.due, today)}. " if answer.due < today else ""
    return late + _how_it_stands(answer, today, system)


def _how_it_stands(answer: Answer, today: date, system: System) -> str:
    if answer.need_mg == 0 and answer.weighed_sheets:
        return f"The fibre for all {answer.wanted} lies weighed out at the vat."
    vat = _at_the_vat(answer)
    if answer.state == COVERED:
        return f"The store covers all {answer.wanted}, also at the safe count.{vat}"
    if answer.state == JUST_COVERED:
        return (
            f"The store covers all {answer.wanted} at the average count, with too little to spare "
            f"if more sheets than usual are broke.{vat}"
        )
    by = day(max(answer.fibre_day, today), today)
    now = f"{answer.covered_sheets} of {answer.wanted} good sheets can be made"
    if answer.state == LATER and answer.ready_on:
        return (
            f"Its fibre is all there from {day(answer.ready_on, today)}, too late for {by}: "
            f"until then {lacks(answer, system)} and {now}.{vat}"
        )
    if answer.free:
        now = "It takes all or nothing, so what the store has of it is not set aside"
    return f"Short by {by}: {lacks(answer, system)}. {now}.{vat}"


def _at_the_vat(answer: Answer) -> str:
    """Say for how many sheets the store gives nothing more."""
    if not answer.weighed_sheets:
        return ""
    return f" Fibre for {answer.weighed_sheets} of them lies weighed out at the vat."


# --- how sure, and why not -----------------------------------------------------------------------


def tries(chance: float) -> str:
    """Word a chance in whole counts; never as certain what is not."""
    if chance in (0.0, 1.0):
        return "all of 100" if chance else "none of 100"
    count = round(chance * 100)
    if count == 100:
        return "more than 99 of 100"
    return f"{count} of 100" if count else "fewer than 1 of 100"


def how_sure(answer: Answer) -> str:
    """Say in how many tries the store covers it; nothing where that is not known."""
    chance = answer.chance
    if chance is None:
        return ""
    return (
        f"The store covers all {answer.wanted} in {tries(chance)} tries, letting moisture, "
        "yield and culls vary as they do."
    )


def named(refs: Sequence[str], most: int = MOST_NAMED) -> str:
    """Name a few of many."""
    rest = len(refs) - most
    return f"{', '.join(refs[:most])} and {rest} more" if rest > 0 else ", ".join(refs)


def why_short(bind: Binding, by: date, today: date, system: System = "metric") -> str:
    """Say which fibre binds whom, by which day and by how much."""
    is_one = len(bind.commissions) == 1
    verb = "needs" if is_one else "need"
    # Others may hold some: its limits leave them out, or they are set aside.
    holds = f"no lot that {'it' if is_one else 'they'} may take holds any"
    if bind.lots:
        lots = (
            f"lot {bind.lots[0]} holds" if len(bind.lots) == 1 else f"lots {named(bind.lots)} hold"
        )
        holds = f"{lots} {exact(bind.supply_mg, system)}"
    return (
        f"{named(bind.commissions)} {verb} {exact(bind.need_mg, system)} usable of "
        f"{' or '.join(bind.fibres)} by {day(by, today)}; {holds}; "
        f"{exact(bind.short_mg, system)} is missing."
    )


def mix_words(mix: Mix) -> str:
    """Word the shares of fibres."""
    said = [f"{show_share(share)} {fibre}" for fibre, share in mix if share]
    none = [fibre for fibre, share in mix if not share]
    without = f", with no {' and no '.join(none)}" if none else ""
    return f"{' and '.join(said)}{without}"


def mix_used(mix: Mix) -> str:
    """Say of what it is made where that is not the target of its furnish."""
    return f"It is made of {mix_words(mix)}, within the limits of its furnish." if mix else ""


def standing(
    snapshot: Snapshot, cover: Cover, answer: Answer, system: System = "metric"
) -> list[str]:
    """Say how sure the cover of a commission is, of what mix it is, and which fibre binds it."""
    days = {promise.ref: promise.fibre_day for promise in snapshot.commissions}
    promise = next(found for found in snapshot.commissions if found.ref == answer.ref)
    said = [how_sure(answer), mix_used(used_mix(promise, answer))]
    for bind in cover.binding if answer.short else ():
        if answer.ref in bind.commissions:
            by = max(cover.today, *(days[ref] for ref in bind.commissions))
            said.append(why_short(bind, by, cover.today, system))
    return [sentence for sentence in said if sentence]


# --- ways out ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WayOut:
    """One thing that would mend a shortage, or the remark that only buying does."""

    deed: str
    why: str
    is_way: bool = True


@dataclass(frozen=True, slots=True)
class Reader:
    """For whom the ways are worded; ``usual_moisture`` is by fibre, no currency hides prices."""

    today: date
    system: System = "metric"
    currency: str = ""
    usual_moisture: Mapping[str, Decimal] = field(default_factory=dict)


def ways_out(ways: Sequence[Way], answer: Answer, reader: Reader) -> list[WayOut]:
    """Say what would mend a shortage, each as a deed and what it rests on."""
    return [_way_out(way, answer, reader) for way in ways]


def _way_out(way: Way, answer: Answer, reader: Reader) -> WayOut:
    today = reader.today
    if isinstance(way, Buy):
        return _buy(way, reader)
    if isinstance(way, InTwo):
        return _in_two(way, answer, today)
    if isinstance(way, FurnishChange):
        return WayOut(
            f"Make it of {mix_words(way.mix)}, if the client agrees.",
            "The nearest mix of its fibres that is covered; every other promise stays as it is.",
        )
    if isinstance(way, SwapOrder):
        return WayOut(f"Serve it before {way.before}.", _who_loses(way, reader))
    if isinstance(way, AnotherDay):
        return WayOut(
            f"Ask for {day(way.due, today)} in place of {day(answer.due, today)}.",
            f"Its fibre is all there from {day(way.fibre_on, today)}.",
        )
    return WayOut(
        "There is no plan without a purchase.",
        "No other mix of its fibres and no receipt on its way covers it, and no other turn "
        "without a loss to others.",
        is_way=False,
    )


def _buy(buy: Buy, reader: Reader) -> WayOut:
    fibre = " or ".join(buy.fibres)
    why = []
    moisture = reader.usual_moisture.get(buy.fibres[0])
    if moisture is not None and moisture < 1:
        as_is = exact(math.ceil(buy.oven_dry_mg / (1 - moisture)), reader.system)
        why.append(f"{as_is} as is, at its usual moisture of {show_share(moisture)}.")
    why.append(_order(buy, reader))
    return WayOut(
        f"Buy {exact(buy.oven_dry_mg, reader.system)} oven-dry of {fibre}, to be in the store by "
        f"{day(buy.needed_on, reader.today)}.",
        " ".join(filter(None, why)),
    )


def _order(buy: Buy, reader: Reader) -> str:
    today = reader.today
    if buy.order_by is None:
        if buy.arrives_on:
            return (
                f"No order is in time any more; the first arrives on {day(buy.arrives_on, today)}."
            )
        return "No offer of it is known." if buy.is_looked_up else ""
    by = "today" if buy.order_by == today else f"by {day(buy.order_by, today)}"
    if buy.take is None or not reader.currency:
        return f"Ordered {by} it is in time."
    take = buy.take
    packs = f"{take.packs} pack{'' if take.packs == 1 else 's'}"
    return (
        f"Cheapest in time: {packs} of {take.fibre} from {take.source}, "
        f"{show_money(take.cost_minor, reader.currency)} with freight, ordered {by}."
    )


def _in_two(way: InTwo, answer: Answer, today: date) -> WayOut:
    first = f"Send {way.now_sheets} good sheets"
    if way.later_on is None:
        now = f"{first} by {day(answer.due, today)} and {way.later_sheets} later."
        return WayOut(now, "As many now as the scarcest fibre makes, after culls.")
    of = "bought at once" if way.is_bought else "on its way"
    if way.later_on <= answer.due:
        make = f"Make {way.now_sheets} good sheets first and the other {way.later_sheets}"
        return WayOut(
            f"{make} by {day(way.later_on, today)}, still in time.",
            f"The rest is of fibre {of}.",
        )
    by = f"by {day(answer.due, today)} and {way.later_sheets} by {day(way.later_on, today)}"
    return WayOut(f"{first} {by}.", f"The rest is of fibre {of}.")


def _who_loses(way: SwapOrder, reader: Reader) -> str:
    if not way.worse:
        return "Nobody else stands worse then."
    said = []
    for answer in way.worse:
        state = mark_of(answer, reader.today)[1].lower()
        count = f"{answer.covered_sheets} of {answer.wanted} good sheets"
        lack = f", and {lacks(answer, reader.system)}" if answer.short else ""
        said.append(f"{answer.ref} would be {state}, with {count}{lack}")
    return f"Others lose by it: {'; '.join(said)}."


# --- one more sheet ------------------------------------------------------------------------------


def how_many_more(
    good_sheets: int, name: str, by: date, today: date, *, is_too_soon: bool = False
) -> str:
    """Say how many more good sheets could be promised; ``name`` is of which sheet."""
    when = day(by, today)
    of = f" of {name}" if name else ""
    if not good_sheets:
        return (
            f"No more good sheets{of} could be promised by {when} with what is in store and free."
        )
    sheets = f"{show_number(good_sheets)} more good sheet{'' if good_sheets == 1 else 's'}"
    if is_too_soon:
        # What the day leaves no time for could not be promised by it.
        return f"There is fibre for {sheets}{of}, with no promise made worse."
    return f"{sheets}{of} could be promised by {when}, with no promise made worse."


def too_soon(ready_by: date, today: date) -> str:
    """Say that there is fibre but not the time to make it."""
    return (
        "That day leaves too little time to prepare, form and dry: begun today, it is ready by "
        f"{day(ready_by, today)}."
    )


# --- all promises --------------------------------------------------------------------------------


def lede(cover: Cover, system: System = "metric", *, made: Sequence[str] = ()) -> str:
    """Say in one sentence or two how all promises stand: what is left out, and the rest.

    ``made`` are promises of which nothing is left to make, so that they hold no fibre.
    """
    said = []
    if cover.left_out:
        ref, why = cover.left_out[0]
        more = len(cover.left_out) - 1
        also = f" {more} more cannot be reckoned." if more else ""
        said.append(f"{ref} cannot be reckoned: {why}{also}")
    if cover.commissions:
        said.append(_standing(cover, system))
    if made:
        said.append(made_words(made))
    return " ".join(said) or "Nothing is promised yet."


def made_words(made: Sequence[str]) -> str:
    """Name the commissions whose sheets are all made and not all sent."""
    if len(made) == 1:
        return f"{made[0]} is all made and waits to be sent."
    return f"{named(made)} are all made and wait to be sent."


def _standing(cover: Cover, system: System) -> str:
    """Say how the promises stand that can be reckoned."""
    total = len(cover.commissions)
    wanting = [a for a in cover.commissions if a.state not in (COVERED, JUST_COVERED)]
    if not wanting:
        other = "other " if cover.left_out else ""
        one, all_of_them = f"the one {other}promise", f"all {total} {other}promises"
        covers = f"The store covers {one if total == 1 else all_of_them}"
        near = [answer.ref for answer in cover.commissions if answer.state == JUST_COVERED]
        if not near:
            return f"{covers}."
        if total == 1:
            return f"{covers}, but only just."
        return f"{covers}, {near[0] if len(near) == 1 else f'{len(near)} of them'} only just."
    return _first_wanting(wanting, total, cover.today, system)


def _first_wanting(wanting: Sequence[Answer], total: int, today: date, system: System) -> str:
    first = wanting[0]
    due = day(max(first.fibre_day, today), today)
    one = len(wanting) == 1
    if first.state == LATER and first.ready_on and one:
        return (
            f"{first.ref} is covered from {day(first.ready_on, today)}, too late for {due}: until "
            f"then {lacks(first, system)}."
        )
    count = (
        f"{first.ref} is short"
        if one
        else f"{len(wanting)} of {total} promises are short, first {first.ref}"
    )
    return f"{count}: {lacks(first, system)} by {due}."
