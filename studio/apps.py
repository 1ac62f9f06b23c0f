"""The studio app: what both other apps share."""

from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate


class StudioConfig(AppConfig):
    """Make sure of roles and triggers after every migration, and run the checks at start."""

    name = "studio"

    def ready(self) -> None:
        """Register the checks, what has to follow a migration, and who has the database open."""
        from studio import appendonly, checks, people, safety
        from studio.copies import inuse

        post_migrate.connect(people.make_roles, sender=self)
        post_migrate.connect(appendonly.install)
        connection_created.connect(inuse.hold)
        checks.register()
        safety.register()
