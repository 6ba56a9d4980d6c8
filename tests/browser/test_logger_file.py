"""A logger's file on its way in, as a kiln master sees it: sent, asked about, looked at, taken in."""

from typing import Any

import pytest
from playwright.sync_api import Browser

from plant.models import Reading
from tests.browser.conftest import Watch, let_in
from tests.browser.test_all_pages import faults_of
from tests.factories import ChannelFactory, ReadingSourceFactory, UserFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

HEAD = "Time;K1 dry left [°C];K1 fan current 1 (a very long name of a column that no phone has room for);Remark\r\n"
ROWS = "".join(f"0{day}/11/2026 08:00;{60 + day},5;{day},2;---\r\n" for day in range(1, 8))


def test_a_file_is_sent_asked_about_and_taken_in(live_server: Any, browser: Browser, watch: Watch) -> None:
    channel = ChannelFactory()
    ChannelFactory(kiln=channel.kiln, quantity="fan_current", place="1")
    ReadingSourceFactory()
    ilse = UserFactory(username="ilse", role="kiln_master")
    with browser.new_context(base_url=live_server.url) as context:
        let_in(context, ilse, live_server.url)
        page = watch.over(context.new_page())
        page.goto("/readings/sources/logger/")
        file: Any = {"name": "kiln.csv", "mimeType": "text/csv", "buffer": (HEAD + ROWS).encode("cp1252")}
        page.get_by_label("File of the logger").set_input_files([file])
        page.get_by_role("button", name="Send the file").click()
        assert faults_of(page, page.url, is_read=True) == []
        page.get_by_label("Dates count").select_option("dmy")
        page.get_by_role("button", name="Look again").first.click()
        page.get_by_role("row", name="Sun 1 Nov 2026 08:00:00 61.50 1.20").wait_for()
        assert faults_of(page, page.url, is_read=True) == []
        page.get_by_role("button", name="Take in as shown").first.click()
        page.get_by_text("kiln.csv is taken in.").wait_for()
        assert faults_of(page, page.url, is_read=True) == []
    assert Reading.objects.count() == 14
