"""How fibre is soaked, and which steps of a making raise a caution; common practice, no source."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

# From this moisture on a lot is wet stuff, which is not soaked. From memory.
WET = Decimal("0.3")
# Family of a fibre: how it is soaked when it lies dry in the store; common practice, no source.
SOAKING = {
    "waste paper": "tear it small and soak it, ten minutes at the least, better overnight",
    "broke": "tear it small and soak it, ten minutes at the least, better overnight",
    "rag": "sort it, cut it small and soak it overnight",
    "bast": "soak it overnight before it is cooked",
    "grass": "soak it overnight before it is cooked",
}
SOAK_SHEETS = "soak it overnight"
COOKED = ("bast", "grass")
TORN = ("waste paper", "broke", "rag")


def soaking(family: str, moisture: Decimal) -> str:
    """Return how a lot of a fibre is soaked.

    Parameters
    ----------
    family : str [-]
        Family of the fibre, as the store names it.
    moisture : Decimal [-]
        Water as a share of the lot as it lies, 0 to 1.

    Returns
    -------
    str [-]
        What to do, or nothing for stuff that is wet already.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    Common practice, no source.

    Examples
    --------
    >>> soaking("seed hair", Decimal("0.08")), soaking("leaf", Decimal("0.8"))
    ('soak it overnight', '')
    """
    return "" if moisture >= WET else SOAKING.get(family, SOAK_SHEETS)


def steps_of(
    families: Sequence[str], *, doses: Sequence[str], drying: str, is_beaten: bool
) -> tuple[str, ...]:
    """Return the steps of a making that raise a caution.

    Parameters
    ----------
    families : sequence of str [-]
        Families of the fibres that go into it.
    doses : sequence of str [-]
        Kinds of what is added.
    drying : str [-]
        How the sheets dry.
    is_beaten : bool [-]
        Whether it is enough for a beater; otherwise it goes through a blender.

    Returns
    -------
    tuple of str [-]
        Names of steps, as ``studio.cautions.STEPS`` has them.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    Common practice, no source.

    Examples
    --------
    >>> steps_of(["leaf"], doses=["pigment"], drying="air", is_beaten=False)
    ('blend', 'powder', 'lift', 'press', 'wet', 'drain')
    """
    kinds = set(doses)
    used = {
        "tear": bool(set(families) & set(TORN)),
        "cook": bool(set(families) & set(COOKED)),
        "beat": is_beaten,
        "blend": not is_beaten,
        "powder": bool(kinds & {"pigment", "filler", "other"}),
        "size": bool(kinds & {"sizing", "retention aid", "formation aid"}),
        "lift": True,
        "press": True,
        "wet": True,
        "heat": drying in {"restraint", "iron"},
        "drain": True,
    }
    return tuple(step for step, is_used in used.items() if is_used)
