"""The fibres app: what is in the store, and where it came from."""

from django.apps import AppConfig


class FibresConfig(AppConfig):
    """Fibres, lots and their movements."""

    name = "fibres"

    def ready(self) -> None:
        """Let a studio that is opened find the fibres of this release."""
        from fibres.reference import load_fibres
        from studio import people

        people.WHEN_OPENED.append(load_fibres)
