"""An alarm reaches whoever has any page open, and whoever was signed out is told that the page hears nothing."""

from typing import Any
from uuid import uuid4

import numpy as np
import pytest
from playwright.sync_api import Browser, expect

from maintenance.entry.door import go_in
from plant.readings.taking_in import take_in
from tests.browser.conftest import PHONE, Watch, let_in
from tests.factories import ChannelFactory, KilnFactory, MillFactory
from tests.maintenance.mill import a_user, opened

pytestmark = pytest.mark.browser


def test_a_page_left_open_on_a_phone_shouts_when_fans_turn_over_somebody(
    live_server: Any, browser: Browser, watch: Watch
) -> None:
    MillFactory()
    kiln, oda, manager = KilnFactory(tag="K3"), a_user("technician"), a_user("manager", "eve")
    channel = ChannelFactory(kiln=kiln, quantity="fan_current", place="1")
    permit = opened(kiln, oda)
    assert oda.person
    go_in(permit, oda.person, by=oda, key=uuid4(), is_own_lock_on=True)
    with browser.new_context(base_url=str(live_server.url), viewport=PHONE) as context:
        let_in(context, manager, str(live_server.url))
        page = watch.over(context.new_page())
        page.goto("/words/")
        page.evaluate("scrollTo(0, 2000)")
        expect(page.locator("[role=alert]")).to_have_count(0)
        # Readings have whole seconds: this one comes after the opening, however soon the page was there.
        at_s = int(permit.at.timestamp()) + 1
        take_in(np.array([channel.pk]), np.array([at_s]), np.array([12.0]))
        alarm = page.locator("#kiln-warnings [role=alert]")
        expect(alarm).to_contain_text("K3 is reported running or hot while people may be in or at it", timeout=90_000)
        expect(alarm).to_be_in_viewport()
        context.clear_cookies()
        expect(page.get_by_text("This page hears nothing from the mill any more")).to_be_visible(timeout=90_000)
        expect(alarm).to_be_visible()
        assert page.url.endswith("/words/")
