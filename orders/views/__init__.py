"""The pages of commissions and of what is worked out for them, split by noun."""

from orders.views.bench import Bench
from orders.views.clients import ClientClose, ClientEdit, ClientList, ClientPage
from orders.views.commissions import (
    CommissionEdit,
    CommissionList,
    CommissionMove,
    CommissionPage,
)
from orders.views.dryers import DryerClose, DryerList, DryerPage
from orders.views.reorder import ReorderLook, ReorderOrder, ReorderPage, ReorderProgress
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
    "DryerClose",
    "DryerList",
    "DryerPage",
    "LogScrap",
    "ReorderLook",
    "ReorderOrder",
    "ReorderPage",
    "ReorderProgress",
    "SheetClose",
    "SheetEdit",
    "SheetList",
    "SheetPage",
    "Store",
    "Today",
]
