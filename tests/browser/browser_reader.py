"""A reader at a screen: opens pages in Chromium and keeps what the browser complained of and asked for."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final, Literal
from urllib.parse import urlsplit

from playwright.sync_api import Browser, BrowserContext, Page, expect

SIZES: Final = {"desk": (1360, 900), "phone": (360, 780)}
PATIENCE_MS: Final = 60_000
"""Long, because a busy machine is no reason to fail; nothing waits longer than it must."""

_SETTLED: Final = """() => {
  if (document.querySelector("#react-entry-point") === null) { return document.readyState === "complete"; }
  const content = document.querySelector("#content");
  if (content === null) { return false; }
  const charts = [...document.querySelectorAll(".dash-graph")].filter((chart) => chart.offsetParent !== null);
  return document.querySelector("#bar a") !== null
    && content.querySelector("h1, h3") !== null
    && !content.hasAttribute("data-dash-is-loading")
    && getComputedStyle(content).opacity === "1"
    && charts.every((chart) => chart.querySelector(".main-svg") !== null)
    && document.title !== "Asleft"
    && document.fonts.status === "loaded";
}"""


@dataclass
class Reader:
    """One browser window on one server."""

    address: str
    context: BrowserContext
    page: Page
    size: str
    complaints: list[str] = field(default_factory=list)
    requested: list[str] = field(default_factory=list)

    def open(self, path: str) -> Page:
        """Open an address of the server and wait until its page stands."""
        self.page.goto(self.address + path)
        return self.settle()

    def settle(self, page: Page | None = None) -> Page:
        """Wait until a page has its contents, its charts and its fonts, and is no longer dimmed."""
        page = page or self.page
        # By the clock, not by frames: a window that another one covers draws hardly any.
        page.wait_for_function(_SETTLED, polling=50)
        text = page.locator("body").inner_text()
        assert "This page could not be made" not in text, text
        return page

    def arrive(self, path: str) -> Page:
        """Wait until a click has led to an address, and its page stands."""
        self.page.wait_for_url(self.address + path)
        return self.settle()

    def foreign(self) -> list[str]:
        """Return the requests that went anywhere but to the own server; what the page holds itself goes nowhere."""
        own = urlsplit(self.address).netloc
        return [
            url
            for url in self.requested
            if urlsplit(url).scheme not in ("data", "blob") and urlsplit(url).netloc != own
        ]


@contextmanager
def reading(
    browser: Browser, address: str, size: str = "desk", *, color_scheme: Literal["light", "dark"] = "light"
) -> Iterator[Reader]:
    """Open a fresh window of a size, without anything a window before it left behind."""
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=color_scheme)
    context.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    reader = Reader(address, context, context.new_page(), size)
    # Heard at the window, so that the print view's own tab is heard too.
    context.on("request", lambda request: reader.requested.append(request.url))
    context.on("weberror", lambda error: reader.complaints.append(f"page error: {error.error}"))
    context.on(
        "console",
        lambda said: reader.complaints.append(f"{said.type}: {said.text}") if said.type == "error" else None,
    )
    context.on(
        "response",
        lambda answer: reader.complaints.append(f"{answer.status}: {answer.url}") if answer.status >= 400 else None,
    )
    yield reader
    context.close()
