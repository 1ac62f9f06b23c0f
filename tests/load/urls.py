"""Every address of the studio, and a page that does nothing but answer."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path

from studio.roles import needs
from studio.urls import handler400, handler403, handler404, handler500

__all__ = ["handler400", "handler403", "handler404", "handler500", "urlpatterns"]


@needs("read")
def bare(request: HttpRequest) -> HttpResponse:
    """Answer whoever is signed in, after all that stands before any page."""
    return HttpResponse("bare", content_type="text/plain")


urlpatterns = [path("bare/", bare, name="bare"), path("", include("studio.urls"))]
