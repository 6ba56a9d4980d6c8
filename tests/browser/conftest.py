"""What the browser's tests share: visitors who sign in, and an eye on everything that goes wrong unseen."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, Response

from plant.models import User
from tests.maintenance.mill import BACKEND

WIDE = {"width": 1360, "height": 900}
PHONE = {"width": 390, "height": 844}

Visit = Callable[..., Page]


@pytest.fixture(scope="session", autouse=True)
def _chromium_is_there() -> None:
    """Skip without Chromium; but in CI a browser that is missing is a fault."""
    path = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))
    if path.exists():
        return
    missing = f"{path} is missing: install Debian's package chromium, or name another path in CHROMIUM."
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)


class Watch:
    """Keeps what went wrong on a page without anybody seeing it."""

    def __init__(self) -> None:
        self.faults: list[tuple[str, str]] = []
        # The browser's own PDF viewer asks for an icon at this address, whatever the page says.
        # The browser's own viewer of PDFs, where the test leaves it before it has opened.
        self.expected: list[str] = ["/favicon.ico", "chrome-extension://", "chrome://"]

    def over(self, page: Page) -> Page:
        """Watch a page."""
        page.set_default_timeout(10_000)
        page.on("console", self._said)
        page.on("pageerror", lambda error: self.faults.append((f"script: {error}", page.url)))
        page.on("response", self._answered)
        page.on("requestfailed", self._failed)
        # A page that becomes a download counts as aborted.
        page.on("download", lambda download: self.expected.append(download.url))
        return page

    def _failed(self, request: Request) -> None:
        # A picture, a style or the words that were still on their way when the test went to the next page.
        on_its_way = "/static/" in request.url or request.url.endswith("/words/linked.json")
        if request.failure == "net::ERR_ABORTED" and on_its_way:
            return
        self.faults.append((f"{request.failure} {request.method}", request.url))

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.faults.append((f"console: {message.text}", message.location["url"]))

    def _answered(self, response: Response) -> None:
        if response.status >= 400:
            self.faults.append((f"{response.status} {response.request.method}", response.url))

    def unexpected(self) -> list[tuple[str, str]]:
        """Return what went wrong, but for what was expected to."""
        return [fault for fault in self.faults if not any(url in fault[1] for url in self.expected)]


@pytest.fixture
def watch() -> Iterator[Watch]:
    """Whatever goes wrong on a page unseen fails the test."""
    eye = Watch()
    yield eye
    assert eye.unexpected() == []


def let_in(context: BrowserContext, user: User, url: str) -> None:
    """Sign somebody in without the form."""
    client = Client()
    client.force_login(user, backend=BACKEND)
    name = django_settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": url}])


@pytest.fixture
def visit(browser: Browser, live_server: Any, watch: Watch) -> Iterator[Visit]:
    """Open a page as somebody, under watch: ``visit(user, phone=True)``."""
    contexts = []

    def come(user: User | None = None, *, phone: bool = False) -> Page:
        shape: dict[str, Any] = {"viewport": WIDE}
        if phone:
            shape = {"viewport": PHONE, "has_touch": True, "is_mobile": True}
        context = browser.new_context(base_url=live_server.url, locale="en-GB", **shape)
        contexts.append(context)
        if user:
            let_in(context, user, live_server.url)
        return watch.over(context.new_page())

    yield come
    for context in contexts:
        context.close()


def put_at(monkeypatch: pytest.MonkeyPatch, at: Any) -> None:
    """Let it be this instant, in the test as in its server."""
    monkeypatch.setattr("plant.clock.now", lambda: at)
