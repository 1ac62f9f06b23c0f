"""Routes of commissions and what is worked out for them."""

from django.urls import path

from orders import views

urlpatterns = [
    path("", views.Today.as_view(), name="today"),
    path("store/", views.Store.as_view(), name="store"),
    path("scrap/log/", views.LogScrap.as_view(), name="scrap_log"),
    path("commissions/", views.CommissionList.as_view(), name="commissions"),
    path("commissions/new/", views.CommissionEdit.as_view(), name="commission_new"),
    path("commissions/<slug:ref>/", views.CommissionPage.as_view(), name="commission"),
    path("commissions/<slug:ref>/edit/", views.CommissionEdit.as_view(), name="commission_edit"),
    path("commissions/<slug:ref>/move/", views.CommissionMove.as_view(), name="commission_move"),
    path("sheets/", views.SheetList.as_view(), name="sheets"),
    path("sheets/new/", views.SheetEdit.as_view(), name="sheet_new"),
    path("sheets/<int:pk>/", views.SheetPage.as_view(), name="sheet"),
    path("sheets/<int:pk>/edit/", views.SheetEdit.as_view(), name="sheet_edit"),
    path("sheets/<int:pk>/close/", views.SheetClose.as_view(), name="sheet_close"),
    path("clients/", views.ClientList.as_view(), name="clients"),
    path("clients/new/", views.ClientEdit.as_view(), name="client_new"),
    path("clients/<int:pk>/", views.ClientPage.as_view(), name="client"),
    path("clients/<int:pk>/edit/", views.ClientEdit.as_view(), name="client_edit"),
    path("clients/<int:pk>/close/", views.ClientClose.as_view(), name="client_close"),
    path("reorder/", views.ReorderPage.as_view(), name="reorder"),
    path("reorder/order/", views.ReorderOrder.as_view(), name="reorder_order"),
    path("reorder/look/", views.ReorderLook.as_view(), name="reorder_look"),
    path("reorder/progress/", views.ReorderProgress.as_view(), name="reorder_progress"),
    path("dryers/", views.DryerList.as_view(), name="dryers"),
    path("dryers/new/", views.DryerPage.as_view(), name="dryer_new"),
    path("dryers/<int:pk>/", views.DryerPage.as_view(), name="dryer"),
    path("dryers/<int:pk>/close/", views.DryerClose.as_view(), name="dryer_close"),
    path("bench/", views.Bench.as_view(), name="bench"),
]
