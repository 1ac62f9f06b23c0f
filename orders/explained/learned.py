"""What finished makings show of a figure, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from orders import learningwording as wording
from orders.calc.learned import ENOUGH_MAKINGS
from orders.explained import sources
from orders.learning.figures import SHARES_OF_SHEETS, SHRINKAGES, Figure, LearnedFigure
from studio.explaining import DEFINITION, Explained
from studio.units import System
from studio.working import Line

OF_ONE_MAKING = {
    Figure.YIELD: "preparation yield of a making = (fibre in all pulls ÷ what stays on the mould "
    "+ heel) ÷ issued, all oven-dry.",
    Figure.RETENTION: "what stays on the mould in a making = fibre in all pulls ÷ (usable fibre "
    "issued − heel).",
    Figure.BROKE: "broke of a making = broke ÷ all finished sheets of it.",
    Figure.RETREE: "retree of a making = retree ÷ all finished sheets of it.",
    Figure.MINUTES: "a pull takes = minutes of a making without setting up ÷ pulls.",
    Figure.DRAW: "draw = fibre in a weighed sheet ÷ (opening of the mould × consistency of the "
    "vat).",
    **dict.fromkeys(
        SHRINKAGES, "shrinkage = 1 − dry side of a measured sheet ÷ opening of the mould."
    ),
}
MEAN = Explained(
    "Mean, and within what limits it lies",
    "mean of a figure = sum over makings ÷ makings, each counted once. Limits, 19 times of 20 = "
    "mean ± t × standard deviation ÷ √makings.",
    sources.STUDENT,
)
CULLS = Explained(
    "Broke and retree",
    "mean = makings weighed by how many sheets each had, and by how much makings differ. With "
    f"fewer than {ENOUGH_MAKINGS}, the figure that was set stands in for those missing. Limits "
    "are those of a beta distribution.",
    sources.BETWEEN_MAKINGS,
)


def of_page(figures: Sequence[LearnedFigure], system: System) -> list[Explained]:
    """Say how the figures of a page are learned, each kind by its first."""
    means = [one for one in figures if one.figure not in SHARES_OF_SHEETS]
    shares = [one for one in figures if one.figure in SHARES_OF_SHEETS]
    return [_with(MEAN, means, system), _with(CULLS, shares, system), _one_making(figures[:1])]


def _with(said: Explained, found: Sequence[LearnedFigure], system: System) -> Explained:
    lines = tuple(
        Line(
            f"{one.figure.label}, {one.name}",
            wording.show(one.figure, one.value, system=system),
            wording.within(one, system=system),
        )
        for one in found[:1]
    )
    return Explained(said.title, said.formula, said.source, lines)


def _one_making(found: Sequence[LearnedFigure]) -> Explained:
    formula = OF_ONE_MAKING[found[0].figure] if found else OF_ONE_MAKING[Figure.YIELD]
    return Explained("What one making shows", formula, DEFINITION)


def of_one(found: LearnedFigure, lines: Sequence[Line], system: System) -> list[Explained]:
    """Say how one figure is learned; ``lines`` is the sum on its page."""
    said = CULLS if found.figure in SHARES_OF_SHEETS else MEAN
    first: Any = found.seen[0] if found.seen else None
    shown = (
        (Line(f"Shown by {first.ref}", wording.show(found.figure, first.value, system=system)),)
        if first
        else ()
    )
    return [
        Explained("What one making shows", OF_ONE_MAKING[found.figure], DEFINITION, shown),
        Explained(
            said.title,
            said.formula,
            said.source,
            tuple(line for line in lines if line.kind == "answer"),
        ),
    ]
