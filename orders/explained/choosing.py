"""Figures that a page shows already, taken from its tables and its sums."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from studio.working import Line


def named(lines: Iterable[Line], *labels: str) -> tuple[Line, ...]:
    """Return the lines of a sum that bear these labels, in the order of the sum."""
    return tuple(line for line in lines if line.label in labels)


def answers(lines: Iterable[Line], most: int = 2) -> tuple[Line, ...]:
    """Return what a sum comes to, without the way there."""
    return tuple(line for line in lines if line.kind == "answer")[:most]


def worked_out(shown: Mapping[str, Any]) -> Any:
    """Return what the panel of a form shows as the page opens; None where nothing can be."""
    result = shown.get("result")
    return None if isinstance(result, Mapping) and result.get("refusal") else result


def sum_shown(shown: Mapping[str, Any]) -> tuple[Line, ...]:
    """Return the lines of that panel; none where nothing is worked out yet.

    The panel moves on while somebody types, and these stay as they were.
    """
    result = worked_out(shown)
    if not result:
        return ()
    lines = result["lines"] if isinstance(result, Mapping) else result.lines
    return tuple(replace(line, because="as the page was opened") for line in lines)
