"""The page of words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.urls import resolve, reverse
from django.views.generic import TemplateView

from studio import roles, words
from studio.pages import HousePage
from studio.roles import needs

# What the pages are called on which a word shows, by route.
PAGES = {
    "bench": "Bench",
    "clients": "Clients",
    "commissions": "Commissions",
    "deliveries": "Parcels",
    "dryers": "Dryers",
    "fibres": "Fibres",
    "furnishes": "Furnishes",
    "learned": "Learned figures",
    "lots": "Lots",
    "makings": "Making",
    "offers": "Offers",
    "purchases": "Purchases",
    "quotes": "Quotes",
    "reorder": "Reorder",
    "scrap_log": "Log scrap",
    "sheets": "Sheets",
    "sheets_in_hand": "Sheets in hand",
    "sources": "Sources",
    "stocktakes": "Counts of the store",
    "store": "Store",
    "store_value": "Value of the store",
}


@dataclass(frozen=True, slots=True)
class Told:
    """A word as one reader sees it: with the page it shows on, where that may be read."""

    word: words.Word
    page: str = ""
    address: str = ""


@needs("read")
class WordsPage(HousePage, TemplateView):
    """Every word with its meaning, formula, unit and source."""

    template_name = "studio/words.html"
    heading = "Words"
    lede = "What the words on these pages mean. Each has one meaning everywhere."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the words, group by group."""
        groups = [(group, [self._told(word) for word in group.words]) for group in words.groups()]
        return super().get_context_data(groups=groups, **kwargs)

    def _told(self, word: words.Word) -> Told:
        """Add the page where a word shows, but for one that the reader may not look at."""
        if not word.shown:
            return Told(word)
        address = reverse(word.shown)
        need = roles.need_of(resolve(address).func)
        if not roles.can(self.request.user, need):
            return Told(word)
        return Told(word, PAGES[word.shown], address)
