"""The orders app: what is promised, whether the store covers it, and what it costs."""

from django.apps import AppConfig


class OrdersConfig(AppConfig):
    """Commissions, cover and cost."""

    name = "orders"
