"""The orders app: what is promised, whether the store covers it, and what it costs."""

from django.apps import AppConfig


class OrdersConfig(AppConfig):
    """Commissions, cover and cost."""

    name = "orders"

    def ready(self) -> None:
        """Say where figures come from and what is weighed out and kept: makings are known here."""
        from fibres import keeping, offshelf
        from orders import learning
        from orders.makings import balance, log
        from studio import origins

        origins.answered_by(learning.origins_of)
        offshelf.answered_by(log.noted_by_making)
        keeping.answered_by(most_kept=balance.most_kept, least_issued=balance.least_issued)
