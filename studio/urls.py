"""The routes of the site; each app keeps its own."""

from django.urls import include, path, register_converter

from studio import ownviews, views, wordsview
from studio.refs import RefConverter

register_converter(RefConverter, "ref")

urlpatterns = [
    path("log-in/", views.LogIn.as_view(), name="log_in"),
    path("log-out/", views.log_out, name="log_out"),
    path("first-run/", views.FirstRun.as_view(), name="first_run"),
    path("studio/", views.StudioPage.as_view(), name="studio"),
    path("words/", wordsview.WordsPage.as_view(), name="words"),
    path("you/", ownviews.OwnSettings.as_view(), name="you"),
    path("you/password/", ownviews.OwnPassword.as_view(), name="you_password"),
    path("you/tokens/", ownviews.OwnTokens.as_view(), name="you_tokens"),
    path("you/tokens/<int:pk>/close/", ownviews.OwnTokenClose.as_view(), name="you_token_close"),
    path("people/", views.PersonList.as_view(), name="people"),
    path("people/new/", views.PersonPage.as_view(), name="person_new"),
    path("people/<int:pk>/", views.PersonPage.as_view(), name="person"),
    path(
        "people/tokens/<int:pk>/close/",
        ownviews.AnyTokenClose.as_view(),
        name="people_token_close",
    ),
    path("moulds/", views.MouldList.as_view(), name="moulds"),
    path("moulds/new/", views.MouldPage.as_view(), name="mould_new"),
    path("moulds/<int:pk>/", views.MouldPage.as_view(), name="mould"),
    path("moulds/<int:pk>/close/", views.MouldClose.as_view(), name="mould_close"),
    path("vats/new/", views.VatPage.as_view(), name="vat_new"),
    path("vats/<int:pk>/", views.VatPage.as_view(), name="vat"),
    path("vats/<int:pk>/close/", views.VatClose.as_view(), name="vat_close"),
    path("", include("fibres.urls")),
    path("", include("orders.urls")),
]

handler400 = "studio.views.bad_request"
handler403 = "studio.views.forbidden"
handler404 = "studio.views.not_found"
handler500 = "studio.views.broken"
