"""Routes of the store; "store" and "scrap_log" are in orders, which adds promises and sheets."""

from django.urls import path

from fibres.views import acts, fibres, furnishes, lots, sources, store

urlpatterns = [
    path("fibres/", fibres.FibreList.as_view(), name="fibres"),
    path("fibres/usual/", store.UsualFibres.as_view(), name="fibres_usual"),
    path("fibres/new/", fibres.FibreChange.as_view(), name="fibre_new"),
    path("fibres/<int:pk>/", fibres.FibrePage.as_view(), name="fibre"),
    path("fibres/<int:pk>/edit/", fibres.FibreChange.as_view(), name="fibre_edit"),
    path("fibres/<int:pk>/close/", fibres.FibreClose.as_view(), name="fibre_close"),
    path("lots/", lots.LotList.as_view(), name="lots"),
    path("lots/receive/", acts.ReceiveLot.as_view(), name="lot_receive"),
    path("lots/<slug:ref>/", lots.LotPage.as_view(), name="lot"),
    path("lots/<slug:ref>/edit/", lots.LotChange.as_view(), name="lot_edit"),
    path("lots/<slug:ref>/close/", lots.LotClose.as_view(), name="lot_close"),
    path("lots/<slug:ref>/moisture/", acts.LotTest.as_view(), name="lot_test"),
    path("lots/<slug:ref>/take/", acts.LotTake.as_view(), name="lot_take"),
    path("movements/<int:pk>/correct/", acts.MovementCorrect.as_view(), name="movement_correct"),
    path("sources/", sources.SourceList.as_view(), name="sources"),
    path("sources/new/", sources.SourceChange.as_view(), name="source_new"),
    path("sources/<int:pk>/", sources.SourcePage.as_view(), name="source"),
    path("sources/<int:pk>/edit/", sources.SourceChange.as_view(), name="source_edit"),
    path("sources/<int:pk>/close/", sources.SourceClose.as_view(), name="source_close"),
    path("furnishes/", furnishes.FurnishList.as_view(), name="furnishes"),
    path("furnishes/new/", furnishes.FurnishChange.as_view(), name="furnish_new"),
    path("furnishes/<int:pk>/", furnishes.FurnishPage.as_view(), name="furnish"),
    path("furnishes/<int:pk>/edit/", furnishes.FurnishChange.as_view(), name="furnish_edit"),
    path("furnishes/<int:pk>/close/", furnishes.FurnishClose.as_view(), name="furnish_close"),
]
