"""The pages of commissions and of what is worked out for them, split by noun."""

from orders.views.bench import Bench
from orders.views.clients import ClientClose, ClientEdit, ClientList, ClientPage
from orders.views.commissions import (
    CommissionEdit,
    CommissionList,
    CommissionMove,
    CommissionPage,
)
from orders.views.deliveries import (
    DeliveryList,
    DeliveryNew,
    DeliveryPage,
    DeliveryStock,
    DeliveryTakeBack,
    SheetsCount,
    SheetsInHand,
    SheetsSpoil,
)
from orders.views.dryers import DryerClose, DryerList, DryerPage
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
from orders.views.provenance import Thanks, TracedLot, TracedSource
from orders.views.reorder import ReorderLook, ReorderOrder, ReorderPage, ReorderProgress
from orders.views.repeating import MakingRepeat, MakingReport
from orders.views.sheets import SheetClose, SheetEdit, SheetList, SheetPage
from orders.views.store import LogScrap, Store
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
    "DeliveryList",
    "DeliveryNew",
    "DeliveryPage",
    "DeliveryStock",
    "DeliveryTakeBack",
    "DryerClose",
    "DryerList",
    "DryerPage",
    "LearnedAccept",
    "LearnedFigurePage",
    "LearnedFigures",
    "LogScrap",
    "MakingBroke",
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
    "ReorderLook",
    "ReorderOrder",
    "ReorderPage",
    "ReorderProgress",
    "SheetClose",
    "SheetEdit",
    "SheetList",
    "SheetPage",
    "SheetsCount",
    "SheetsInHand",
    "SheetsSpoil",
    "Store",
    "Thanks",
    "Today",
    "TracedLot",
    "TracedSource",
]
