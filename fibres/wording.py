"""Words for what is refused, where no page is at hand that knows the studio's units."""

from __future__ import annotations

from studio.models import Studio
from studio.units import show_mass


def mass_words(*masses_mg: int) -> list[str]:
    """Return masses in the units of the studio; asked of the database only to refuse."""
    system = Studio.current().units
    return [show_mass(mass, system=system) for mass in masses_mg]
