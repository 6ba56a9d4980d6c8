"""Every page of the demo mill, on a desk and on a phone: readable for all, nothing off screen, nothing too small."""

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Browser, Page

from plant.access import Role
from tests.browser.conftest import PHONE, WIDE, Watch, let_in
from tests.demo_mill import addresses, other_states, set_up_demo, somebody
from tests.test_access_walk import BACKEND

pytestmark = [pytest.mark.browser, pytest.mark.slow]

AXE = Axe().axe_script
STANDARD = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"],
    "resultTypes": ["violations"],
    # Style sheets and films need not be fetched anew: no rule of these asks for the first, and there are no films.
    "preload": False,
}
# Contrast takes most of the time, and only the frame has colours of its own where the page is narrow: there it is asked
# of the pages on which people land, whose frame is that of all.
ON_A_PHONE = STANDARD | {"rules": {"color-contrast": {"enabled": False}}}
# A thumb in a glove: what is tapped on rounds and work orders is at least this high (CSS pixels).
THUMB_PX = 44
FOR_THUMBS = ("/rounds/", "/work-orders/", "/my-work/")
# The longest lists: more than so many screens nobody reads on a phone.
MOST_SCREENS = {"/words/": 3} | dict.fromkeys(("/stores/", "/work-orders/", "/rounds/proof-tests/"), 7)
SMALL_TARGETS = """least => [...document.querySelectorAll("main .button, main button, main summary, .point, nav a")]
  .map(one => [one, one.getBoundingClientRect()])
  .filter(([one, box]) => one.checkVisibility() && box.height > 0 && box.height < least)
  .map(([one, box]) => `${one.textContent.trim().slice(0, 40)} ${Math.round(box.height)} px`)"""
BESIDE = """width => [...document.querySelectorAll("main *, header *")]
  .filter(one => one.getBoundingClientRect().right > width + 1 && !one.closest(".hidden-word, .scroll"))
  .slice(0, 3).map(one => one.outerHTML.slice(0, 90))"""


@pytest.fixture
def demo(live_server: Any, settings: Any, monkeypatch: pytest.MonkeyPatch) -> str:
    """The demo mill, served."""
    set_up_demo(settings, monkeypatch)
    return str(live_server.url)


def pages() -> list[str]:
    """Every address that answers with a page of its own, and those that look different in another state."""
    client = Client()
    client.force_login(somebody(Role.ADMINISTRATOR), backend=BACKEND)
    answers = ((url, client.get(url)) for url in addresses())
    found = [
        url
        for url, answer in answers
        if answer.status_code == 200 and not answer.streaming and b"<html" in answer.content[:200]
    ]
    return found + other_states()


def is_bar(rule: str, html: str) -> bool:
    """Say whether this is a bar of the board, whose size is a length of time: WCAG 2.5.8 excepts what is essential."""
    return rule == "target-size" and html.startswith(('<a class="gap', '<a class="run-job', '<a class="charge'))


def faults_of(page: Page, url: str, *, is_read: bool, is_whole: bool = True) -> list[str]:
    """Look at a page as wide as a desk, then as narrow as a phone, and return what is wrong with it.

    ``is_read``: whether the standard's rules are asked, which takes most of the time; ``is_whole``: all of them at
    both widths.
    """
    faults = []
    if is_read:
        page.evaluate(AXE)
    for size in (WIDE, PHONE):
        page.set_viewport_size(size)
        if not is_read:
            continue
        asked = ON_A_PHONE if size == PHONE and not is_whole else STANDARD
        for found in page.evaluate("options => axe.run(options)", asked)["violations"]:
            nodes = [node["html"] for node in found["nodes"] if not is_bar(found["id"], node["html"])]
            if nodes:
                where = "; ".join(html[:120] for html in nodes[:3])
                faults.append(f"{size['width']} px: {found['id']} ({found['help']}): {where}")
    wide = page.evaluate("document.documentElement.scrollWidth")
    if wide > PHONE["width"]:
        faults.append(f"sideways scroll to {wide} px: {page.evaluate(BESIDE, PHONE['width'])}")
    screens = page.evaluate("document.documentElement.scrollHeight") / PHONE["height"]
    if screens > MOST_SCREENS.get(url, screens):
        faults.append(f"{screens:.1f} screens high on a phone")
    if page.locator("h1").count() != 1:
        faults.append(f"{page.locator('h1').count()} headings of the first level")
    if url.startswith(FOR_THUMBS):
        faults += [f"too small to tap: {target}" for target in page.evaluate(SMALL_TARGETS, THUMB_PX)]
    return faults


def test_every_page_is_sound_on_a_desk_and_on_a_phone(
    demo: str, browser: Browser, watch: Watch, subtests: Any, pytestconfig: pytest.Config
) -> None:
    # Beside the second database every page is opened and measured; whether all can read it does not hang on that.
    is_read = not pytestconfig.getoption("--with-database")
    found = pages()
    assert len(found) > 60
    for role, urls in [("", ["/sign-in/"]), (Role.ADMINISTRATOR, found), *((role, ["/"]) for role in Role.values)]:
        with browser.new_context(base_url=demo) as context:
            if role:
                let_in(context, somebody(role), demo)
            page = watch.over(context.new_page())
            for url in urls:
                with subtests.test(f"{role} {url}"):
                    page.set_viewport_size(WIDE)
                    page.goto(url)
                    assert faults_of(page, url, is_read=is_read, is_whole=url == "/") == []
