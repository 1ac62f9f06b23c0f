"""What every caution ends with, and the usual care at each step of making paper.

The usual care is common practice, no source. It reminds, and points to who and what decides.
"""

from __future__ import annotations

from collections.abc import Iterable

TAIL = (
    "Follow the safety data sheet and the maker’s instructions. Local rules decide what may go "
    "to drain. Ask a licensed or qualified person where you are not sure."
)

# Step: the hazard and the usual care, in the order of a making day.
STEPS = {
    "tear": "Paper dust: tear and sweep damp, wear a mask; never blow dust away.",
    "cook": (
        "Cooking: goggles, gloves, apron, fresh air. Alkali into water, never water onto alkali; "
        "no aluminium pot. Let it cool before you lift it."
    ),
    "beat": (
        "Beater: guard on, hair, sleeves and hands away, ears protected; cut the power before "
        "you clear it."
    ),
    "blend": "Blender near water: residual-current socket, cord off the floor; let it cool.",
    "powder": "Powders: wear mask, gloves and glasses, wet them first, use no kitchen vessel.",
    "size": "Sizing and aids are slippery: wipe up at once; gloves and glasses.",
    "lift": "Wet tubs and posts are heavy: two people, a trolley, or smaller loads.",
    "press": "Press: hands clear, nobody in front of the platen; watch for cracks.",
    "wet": "Wet floor: rubber soles, cords up and away; barrier cream for cold hands.",
    "heat": "Dryer, iron and hot plate burn: dry hands, a stand, nothing left on alone.",
    "drain": "Never pulp down a drain: strain the vat and the press water through mesh.",
}


def of_steps(steps: Iterable[str]) -> tuple[str, ...]:
    """Return the usual care at some steps, in the order of a making day."""
    wanted = set(steps)
    unknown = wanted - set(STEPS)
    if unknown:
        message = f"No such step: {', '.join(sorted(unknown))}."
        raise ValueError(message)
    return tuple(care for step, care in STEPS.items() if step in wanted)
