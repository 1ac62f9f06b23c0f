"""The fibres app: what is in the store, and where it came from."""

from django.apps import AppConfig


class FibresConfig(AppConfig):
    """Fibres, lots and their movements."""

    name = "fibres"
