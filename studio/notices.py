"""What a page says once of what was just done, carried there in a cookie."""

from __future__ import annotations

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.messages.storage.fallback import FallbackStorage
from django.contrib.messages.storage.session import SessionStorage


class NoticeCookie(CookieStorage):
    """The framework's cookie, under the name that the other cookies of the studio have."""

    @property
    def cookie_name(self) -> str:
        """Return the name, which over HTTPS begins so that the cookie is kept to this host."""
        return f"{settings.COOKIE_PREFIX}messages"


class Notices(FallbackStorage):
    """Notices in the cookie, and in the session where they are too long for one."""

    storage_classes = (NoticeCookie, SessionStorage)
