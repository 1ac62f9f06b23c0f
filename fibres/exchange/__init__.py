"""The lists of the store: fibres, sources, offers, lots and gifts of scrap."""

from fibres.exchange.fibrelist import FibreList
from fibres.exchange.lotlist import LotList
from fibres.exchange.offerlist import OfferList
from fibres.exchange.scraplist import ScrapList
from fibres.exchange.sourcelist import SourceList

__all__ = ["FibreList", "LotList", "OfferList", "ScrapList", "SourceList"]
