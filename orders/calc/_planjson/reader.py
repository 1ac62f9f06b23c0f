"""Reading parsed JSON value by value, with every fault and its path written down."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from orders.calc.culls import LEAST_SPREAD, MOST_SPREAD
from orders.calc.planrows import ONE

ABSENT: Any = object()
LONGEST_NAME, LONGEST_REASON = 200, 1000
# Spaces that do not break a line, as in “8 kg”; they are no control characters.
NO_BREAK_SPACES = str.maketrans("\u00a0\u202f", "  ")
LARGEST_MG = 10**15
LARGEST_COUNT = 10**9
LARGEST_MINOR = 10**12


class Reader:
    """Reads parsed JSON, writing down every fault with its path instead of stopping at one."""

    def __init__(self) -> None:
        self.faults: list[tuple[str, str]] = []

    def fault(self, path: str, sentence: str) -> None:
        """Write down what is wrong at a path."""
        self.faults.append((path, sentence))

    def mapping(self, value: Any, path: str, allowed: set[str]) -> dict[str, Any]:
        """Read an object with no keys but those allowed."""
        if not isinstance(value, dict):
            self.fault(path, f"must be an object, got {said(value)}.")
            return {}
        for key in value:
            if key not in allowed:
                self.fault(f"{path}.{key}".removeprefix("$."), "is not a key of the schema.")
        return value

    def items(self, value: Any, path: str) -> list[Any]:
        """Read a list."""
        if isinstance(value, list):
            return value
        self.fault(path, f"must be a list, got {said(value)}.")
        return []

    def whole(
        self, value: Any, path: str, *, least: int = 0, most: int = LARGEST_MG, unit: str = ""
    ) -> int:
        """Read a whole number."""
        if isinstance(value, int) and not isinstance(value, bool) and least <= value <= most:
            return value
        of = f" of {unit}" if unit else ""
        self.fault(path, f"must be a whole number{of} from {least} to {most}, got {said(value)}.")
        return least

    def text(self, value: Any, path: str, *, most: int = LONGEST_NAME) -> str:
        """Read a name or a short text."""
        is_text = isinstance(value, str) and 0 < len(value) <= most
        if is_text and value.translate(NO_BREAK_SPACES).isprintable():
            return str(value)
        self.fault(path, f"must be text of 1 to {most} characters, got {said(value)}.")
        return ""

    def day(self, value: Any, path: str) -> date:
        """Read a date."""
        try:
            if isinstance(value, str) and len(value) == len("2027-03-01"):
                return date.fromisoformat(value)
        except ValueError:
            pass
        self.fault(path, f"must be a date such as 2027-03-01, got {said(value)}.")
        return date.min

    def share(self, value: Any, path: str) -> Decimal:
        """Read a share from 0 to 1, given as text."""
        try:
            if isinstance(value, str) and len(value) <= 30:
                share = Decimal(value)
                if share.is_finite() and 0 <= share <= ONE:
                    return share
        except InvalidOperation:
            pass
        self.fault(path, f'must be a share as text, "0" to "1", got {said(value)}.')
        return Decimal(0)

    def share_above_zero(self, value: Any, path: str) -> Decimal:
        """Read a share that cannot be 0."""
        before = len(self.faults)
        share = self.share(value, path)
        if not share and len(self.faults) == before:
            self.fault(path, "must be above 0.")
        return share

    def beta(self, value: Any, path: str) -> tuple[Decimal, Decimal]:
        """Read the two parameters of a learned share, given as text."""
        try:
            if isinstance(value, list) and len(value) == 2:
                a, b = (Decimal(one) for one in value if isinstance(one, str) and len(one) <= 40)
                if all(one.is_finite() and LEAST_SPREAD <= one <= MOST_SPREAD for one in (a, b)):
                    return a, b
        except (InvalidOperation, ValueError):
            pass
        self.fault(path, f'must be two numbers as text, such as ["45", "5"], got {said(value)}.')
        return ONE, ONE

    def flag(self, value: Any, path: str) -> bool:
        """Read true or false."""
        if isinstance(value, bool):
            return value
        self.fault(path, f"must be true or false, got {said(value)}.")
        return False

    def names(self, value: Any, path: str) -> frozenset[str]:
        """Read a list of names."""
        found = [self.text(item, f"{path}[{n}]") for n, item in enumerate(self.items(value, path))]
        return frozenset(found)

    def by_fibre(self, value: Any, path: str, read: Callable[[Any, str], Any]) -> dict[str, Any]:
        """Read an object of one value for each fibre that is named."""
        if not isinstance(value, dict):
            self.fault(path, f"must be an object, got {said(value)}.")
            return {}
        found = {}
        for given, of_fibre in value.items():
            fibre = self.text(given, path)
            # A name that cannot be read is no place to find a fault by.
            found[fibre] = read(of_fibre, f"{path}.{fibre}" if fibre else path)
        return found

    def need_of(self, row: dict[str, Any], path: str, key: str, read: Callable[..., Any]) -> Any:
        """Read what cannot be left out."""
        if key not in row:
            self.fault(f"{path}.{key}", "is missing.")
            return None
        return read(row[key], f"{path}.{key}")

    def twice(self, refs: list[str], path: str) -> None:
        """Write down every reference that stands in the list already."""
        seen: set[str] = set()
        for n, ref in enumerate(refs):
            if ref and ref in seen:
                self.fault(f"{path}[{n}].ref", f"“{ref}” is given twice. Refs must differ.")
            seen.add(ref)

    def milligrams(self, value: Any, path: str) -> int:
        """Read a mass."""
        return self.whole(value, path, unit="milligrams")

    def money(self, value: Any, path: str) -> int:
        """Read an amount of money."""
        return self.whole(value, path, most=LARGEST_MINOR, unit="minor units")

    def positive(self, value: Any, path: str) -> int:
        """Read a count of one or more."""
        return self.whole(value, path, least=1, most=LARGEST_COUNT)


def said(value: Any) -> str:
    """Return a value as it is told in a fault, cut short."""
    if value is ABSENT:
        return "nothing"
    return repr(value)[:60]
