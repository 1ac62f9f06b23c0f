"""The studio app: what both other apps share."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class StudioConfig(AppConfig):
    """Make sure of roles and triggers after every migration, and run the checks at start."""

    name = "studio"

    def ready(self) -> None:
        """Register the checks and what has to follow a migration."""
        from studio import appendonly, checks, people

        post_migrate.connect(people.make_roles, sender=self)
        post_migrate.connect(appendonly.install)
        checks.register()
