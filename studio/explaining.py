"""What a page says of its own figures: the formula, the figures that went in, and the source.

A page returns these from ``explain``; the frame of every page shows them under one heading, so
that a reader finds the working of any figure in the same place. The sentences of a subject live
beside it (``fibres/explained``, ``orders/explained``), because several pages show the same sum.
"""

from __future__ import annotations

from dataclasses import dataclass

from studio.working import Line

COMMON = "Common practice, no source."
OURS = "Our own way of counting."


@dataclass(frozen=True, slots=True)
class Explained:
    """One figure of a page, taken apart.

    ``formula`` is in the words that the page uses, ``lines`` are the figures of this very page
    that went in and what came out, ``source`` names a standard, a handbook, common practice or
    the owner who gave the figure.
    """

    title: str
    formula: str
    source: str
    lines: tuple[Line, ...] = ()
