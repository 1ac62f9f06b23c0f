"""The lines of a sum, so that a page, a command and a test show the same working."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["", "line", "answer"]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a sum as a person reads it.

    ``value`` is already worded with its unit; ``because`` says where it comes from;
    ``kind`` is "line" for a subtotal and "answer" for the result.
    """

    label: str
    value: str
    because: str = ""
    kind: Kind = ""
