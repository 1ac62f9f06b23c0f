"""Pages of the store, one file a noun; the two that also tell of sheets are finished in orders."""

from fibres.views.scrap import LogScrapPage
from fibres.views.store import StorePage

__all__ = ["LogScrapPage", "StorePage"]
