"""The pages of commissions and of what is worked out for them, split by noun."""

from orders.views.bench import Bench
from orders.views.clients import ClientClose, ClientEdit, ClientList, ClientPage
from orders.views.commissions import (
    CommissionEdit,
    CommissionList,
    CommissionMove,
    CommissionPage,
)
from orders.views.data import (
    DataBring,
    DataHanded,
    DataOut,
    DataPage,
    DataProgress,
    DataTemplate,
)
from orders.views.datawhole import DataWhole, DataWholeOut
from orders.views.deliveries import DeliveryList, DeliveryPage, DeliveryTakeBack
from orders.views.deliverysending import DeliveryNew, DeliveryStock
from orders.views.dryers import DryerClose, DryerList, DryerPage
from orders.views.firststeps import FirstSteps, FirstStepsAway
from orders.views.inhand import (
    SheetsCount,
    SheetsInHand,
    SheetsSpoil,
    SheetsSpoilt,
    SheetsSpoiltBack,
)
from orders.views.learned import LearnedAccept, LearnedFigurePage, LearnedFigures
from orders.views.makinglog import (
    MakingIssueBack,
    MakingLog,
    MakingStart,
    MakingTap,
    MakingTrialBack,
)
from orders.views.makingnotes import (
    MakingBroke,
    MakingDose,
    MakingFinish,
    MakingHeel,
    MakingIssue,
    MakingSpend,
    MakingTrial,
)
from orders.views.makingplans import MakingEdit, MakingGiveUp
from orders.views.makings import MakingList, MakingPage, MakingSheetPage
from orders.views.provenance import (
    MakingCard,
    SourceCard,
    Thanks,
    TracedLot,
    TracedSource,
)
from orders.views.quoteforms import QuoteEdit, QuoteReissue
from orders.views.quotes import (
    QuoteAccept,
    QuoteDecline,
    QuoteIssue,
    QuoteList,
    QuotePage,
)
from orders.views.reorder import ReorderLook, ReorderOrder, ReorderPage, ReorderProgress
from orders.views.repeating import MakingRepeat, MakingReport
from orders.views.search import SearchPage
from orders.views.sheets import SheetClose, SheetEdit, SheetList, SheetPage
from orders.views.store import LogScrap, Store
from orders.views.storevalue import StoreValue
from orders.views.today import Today

__all__ = [
    "Bench",
    "ClientClose",
    "ClientEdit",
    "ClientList",
    "ClientPage",
    "CommissionEdit",
    "CommissionList",
    "CommissionMove",
    "CommissionPage",
    "DataBring",
    "DataHanded",
    "DataOut",
    "DataPage",
    "DataProgress",
    "DataTemplate",
    "DataWhole",
    "DataWholeOut",
    "DeliveryList",
    "DeliveryNew",
    "DeliveryPage",
    "DeliveryStock",
    "DeliveryTakeBack",
    "DryerClose",
    "DryerList",
    "DryerPage",
    "FirstSteps",
    "FirstStepsAway",
    "LearnedAccept",
    "LearnedFigurePage",
    "LearnedFigures",
    "LogScrap",
    "MakingBroke",
    "MakingCard",
    "MakingDose",
    "MakingEdit",
    "MakingFinish",
    "MakingGiveUp",
    "MakingHeel",
    "MakingIssue",
    "MakingIssueBack",
    "MakingList",
    "MakingLog",
    "MakingPage",
    "MakingRepeat",
    "MakingReport",
    "MakingSheetPage",
    "MakingSpend",
    "MakingStart",
    "MakingTap",
    "MakingTrial",
    "MakingTrialBack",
    "QuoteAccept",
    "QuoteDecline",
    "QuoteEdit",
    "QuoteIssue",
    "QuoteList",
    "QuotePage",
    "QuoteReissue",
    "ReorderLook",
    "ReorderOrder",
    "ReorderPage",
    "ReorderProgress",
    "SearchPage",
    "SheetClose",
    "SheetEdit",
    "SheetList",
    "SheetPage",
    "SheetsCount",
    "SheetsInHand",
    "SheetsSpoil",
    "SheetsSpoilt",
    "SheetsSpoiltBack",
    "SourceCard",
    "Store",
    "StoreValue",
    "Thanks",
    "Today",
    "TracedLot",
    "TracedSource",
]
