"""A database of its own on both engines, as the fault tests have."""

from tests.faults.conftest import place

__all__ = ["place"]
