"""Every list that can be brought in and taken out, by its short name."""

from fibres.exchange import FibreList, LotList, OfferList, ScrapList, SourceList
from orders.exchange.clientlist import ClientList
from orders.exchange.commissionlist import CommissionList
from orders.exchange.makinglist import MakingList
from studio.files.lists import FileList

# In the order in which an empty studio is filled.
LISTS: dict[str, FileList] = {
    flist.slug: flist
    for flist in (
        FibreList(), SourceList(), OfferList(), LotList(), ScrapList(), ClientList(),
        CommissionList(), MakingList(),
    )
}  # fmt: skip

__all__ = ["LISTS", "ClientList", "CommissionList", "MakingList"]
