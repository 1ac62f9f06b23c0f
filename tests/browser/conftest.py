"""A real browser for the pages: Debian's Chromium, driven over its own protocol."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.screen import PATIENCE_MS

# The driver runs an event loop of its own; the database is used from the test's thread alone.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test here; each needs the browser."""
    for item in items:
        if "tests/browser" in str(item.path):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Start Chromium once; skip where it is missing, but fail in CI."""
    if not os.path.exists(CHROMIUM):
        if os.environ.get("CI") == "true":
            pytest.fail("Chromium is missing: .ci/run should have installed it.")
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium).")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def visit(chromium: Any, live_server: Any, settings: Any) -> Iterator[Any]:
    """Open pages in a new window; collects what the console says and which requests fail.

    ``visit(path, width=…, theme=…, user=…)`` returns the page; ``visit.complaints`` must stay
    empty.
    """
    visitor = Visitor(chromium, live_server.url)
    yield visitor
    visitor.close()
    assert visitor.complaints == []


class Visitor:
    """Windows onto the site, each with its width, its colours and who is signed in."""

    def __init__(self, browser: Any, url: str) -> None:
        self.browser, self.url = browser, url
        self.complaints: list[str] = []
        self.contexts: list[Any] = []

    def __call__(
        self,
        path: str,
        *,
        width: int = 1280,
        theme: str = "light",
        user: Any = None,
        script: bool = True,
    ) -> Any:
        context = self.browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme=theme,
            java_script_enabled=script,
            reduced_motion="reduce",
        )
        self.contexts.append(context)
        if user is not None:
            context.add_cookies([self.session_of(user)])
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.on("console", lambda said: self.complaints.append(f"{path}: {said.text}"))
        page.on("pageerror", lambda error: self.complaints.append(f"{path}: {error}"))
        page.on("response", self._failed)
        page.goto(self.url + path)
        return page

    def _failed(self, response: Any) -> None:
        if response.status >= 500:
            self.complaints.append(f"{response.status} {response.url}")

    def session_of(self, user: Any) -> dict[str, Any]:
        """Return the cookie of a session that is signed in."""
        from django.conf import settings
        from django.test import Client

        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return {
            "name": settings.SESSION_COOKIE_NAME,
            "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
            "url": self.url,
        }

    def close(self) -> None:
        """Close every window."""
        for context in self.contexts:
            context.close()
