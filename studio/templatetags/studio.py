"""How figures, days and states are worded in templates.

Nothing is reckoned here: a filter turns one value into the words a person reads, with a
no-break space before the unit and a true minus sign. ``None`` and the empty string stay empty,
because an empty cell means that the figure does not apply; 0 is shown as 0.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from typing import Any

from django import template
from django.utils import timezone
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString

from studio import cautions, units
from studio import money as money_words
from studio.formrender import Fault, fault_list

register = template.Library()

MARKS = frozenset(
    {"covered", "near", "short", "order", "soon", "asked", "agreed", "making", "closed"}
)
COUNT_WORDS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
)  # fmt: skip
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
# A code, such as AB-0003 or P-001/1; a tag comes first, so that what stands in it is let be.
TAG_OR_CODE = re.compile(r"<[^>]*>|(?<![\w&-])[A-Z]{1,3}-\d+(?:/\d+)?(?!\w)")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class _Sides:
    width_um: int
    height_um: int


def is_blank(value: Any) -> bool:
    """Tell whether a figure does not apply."""
    return value is None or value == ""


# --- masses and other quantities ---------------------------------------------------------------


@register.filter
def mass(value: Any, system: str = "metric") -> str:
    """Word a mass (milligrams or a quantity) with the unit that suits it."""
    return "" if is_blank(value) else units.show_mass(value, system=_system(system))


@register.filter
def kg(value: Any, places: int = 2) -> str:
    """Show milligrams as a plain figure in kilograms, for a column headed kg."""
    if is_blank(value):
        return ""
    return "0" if value == 0 else units.show_number(units.mg_to_kg(value), places=int(places))


@register.filter
def grams(value: Any, places: int = 2) -> str:
    """Word a mass (milligrams or a quantity) in grams whatever its size."""
    return "" if is_blank(value) else units.show_mass(value, unit="g", places=int(places))


@register.filter
def share(value: Any) -> str:
    """Word a share of 0 to 1 in percent."""
    return "" if is_blank(value) else units.show_share(value)


@register.filter
def measure(value: Any, system: str = "metric") -> str:
    """Word a length (micrometres or a quantity)."""
    return "" if is_blank(value) else units.show_length(value, system=_system(system))


@register.filter
def grammage(value: Any) -> str:
    """Word a grammage (a number in g/m² or a quantity)."""
    return "" if is_blank(value) else units.show_grammage(value)


@register.filter
def number(value: Any, places: int | None = None) -> str:
    """Show a number with a true minus and thousands parted."""
    return "" if is_blank(value) else units.show_number(value, places=places)


@register.simple_tag
def size_um(width_um: int | None, height_um: int | None, system: str = "metric") -> str:
    """Word a size kept as two numbers of micrometres."""
    if width_um is None or height_um is None:
        return ""
    return units.show_size(_Sides(width_um, height_um), system=_system(system))


def _system(name: str) -> units.System:
    return "US" if name == "US" else "metric"


# --- money -------------------------------------------------------------------------------------


@register.filter
def money(value: Any, currency: str) -> str:
    """Word minor units as an amount with its currency."""
    return "" if is_blank(value) else money_words.show_money(value, currency)


@register.filter
def figure(value: Any, currency: str) -> str:
    """Show minor units as a plain amount, for a column headed with the currency."""
    return "" if is_blank(value) else money_words.show_figure(value, currency)


# --- days, spans, codes, marks -----------------------------------------------------------------


@register.filter
def day(value: datetime.date | datetime.datetime | None) -> str:
    """Word a day as "Thu 26 Nov", with the year only when it is not this one."""
    if not value:
        return ""
    if isinstance(value, datetime.datetime):
        value = timezone.localtime(value).date() if timezone.is_aware(value) else value.date()
    worded = f"{WEEKDAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1]}"
    this_year = timezone.localdate().year
    return worded if value.year == this_year else f"{worded} {value.year}"


@register.filter
def spell(value: datetime.timedelta | None) -> str:
    """Word a span of time in whole minutes or hours, rounded up."""
    if not value:
        return ""
    minutes = -(-int(value.total_seconds()) // 60)
    if minutes < 120:
        return f"{minutes} minute{'' if minutes == 1 else 's'}"
    hours = -(-minutes // 60)
    return f"{hours} hours"


@register.filter
def in_words(value: int) -> str:
    """Write a count in words up to ten."""
    return COUNT_WORDS[value] if 0 <= value < len(COUNT_WORDS) else str(value)


@register.filter
def code(value: Any) -> str | SafeString:
    """Set a code, such as C-118, so that it does not break."""
    return "" if is_blank(value) else format_html('<span class="code">{}</span>', value)


@register.filter
def codes(value: Any) -> str | SafeString:
    """Set a sentence so that no code in it breaks; what is not safe is escaped first."""
    if is_blank(value):
        return ""
    return SafeString(TAG_OR_CODE.sub(_unbroken, conditional_escape(value)))


def _unbroken(found: re.Match[str]) -> str:
    text = found[0]
    return text if text.startswith("<") else f'<span class="code">{text}</span>'


@register.simple_tag
def mark(kind: str, word: str) -> str | SafeString:
    """Set a state as a word with the small sheet that repeats it."""
    if is_blank(word):
        return ""
    if kind not in MARKS:
        message = f"No such mark: {kind!r}. Known are {', '.join(sorted(MARKS))}."
        raise template.TemplateSyntaxError(message)
    return format_html('<span class="mark {}">{}</span>', kind, word)


@register.simple_tag
def caution_tail() -> str:
    """Return what every caution ends with."""
    return cautions.TAIL


# --- faults ------------------------------------------------------------------------------------


@register.inclusion_tag("components/faults.html")
def faults(*sources: Any) -> dict[str, list[Fault]]:
    """List what has to be put right in forms and formsets; nothing where all is well."""
    return {"faults": fault_list(*sources)}


@register.inclusion_tag("components/explained.html", takes_context=True)
def explained(context: template.Context) -> dict[str, Any]:
    """Show how the figures of this page are worked out, where the page has figures of its own."""
    explain = getattr(context.get("view"), "explain", None)
    return {"parts": explain(context.flatten()) if explain else ()}


@register.simple_tag
def faults_ahead(*sources: Any) -> str:
    """Open a page's title with the number of its faults."""
    count = len(fault_list(*sources))
    if not count:
        return ""
    return f"{count} error{'' if count == 1 else 's'}: "
