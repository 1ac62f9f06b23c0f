"""Where lots lie: the names of places as they were first spelled."""

from __future__ import annotations

from django.db.models import Count

from fibres.models import Lot


def known() -> list[str]:
    """Return every place that a lot was ever put in, by name."""
    named = Lot.objects.exclude(place="").order_by("place")
    return list(named.values_list("place", flat=True).distinct())


def held() -> list[tuple[str, int]]:
    """Return the places where fibre lies, each with the number of its lots."""
    lying = Lot.objects.filter(oven_dry_mg__gt=0).exclude(place="")
    return list(lying.values_list("place").annotate(lots=Count("pk")).order_by("place"))


def spelled(text: str) -> str:
    """Return a place as it is spelled already, or as it was typed, without stray blanks."""
    place = " ".join(text.split())
    if not place:
        return ""
    first = Lot.objects.filter(place__iexact=place).order_by("pk").values_list("place", flat=True)
    return first.first() or place
