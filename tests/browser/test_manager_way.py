"""The manager reads the month in one sentence, and takes it away as paper and as a table."""

import csv
import io
import re
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.browser.conftest import Visit, Watch, put_at
from tests.factories import MONDAY, ChargeFactory, ComponentFactory, DowntimeFactory, KilnFactory, MillFactory
from tests.maintenance.mill import a_user

pytestmark = pytest.mark.browser


@pytest.fixture
def manager(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> Page:
    put_at(monkeypatch, MONDAY + timedelta(hours=1))
    kiln = KilnFactory(mill=MillFactory())
    for number in range(12):
        ChargeFactory(kiln=kiln, begin_at=MONDAY - timedelta(days=60 - 5 * number), basis="done")
    DowntimeFactory(kiln=kiln, component=ComponentFactory(kiln=kiln), start_at=MONDAY - timedelta(days=20))
    page = visit(a_user("manager", "rolf"))
    page.goto("/")
    return page


def test_the_sentence_the_paper_and_the_table_say_the_same(manager: Page, watch: Watch, tmp_path: Path) -> None:
    expect(manager.get_by_role("heading", level=1)).to_contain_text("Kiln availability, March 2025 to February 2026")
    said = manager.locator(".lead").inner_text()
    found = re.search(r"available in ([\d.]+ %) of their required hours", said)
    assert found, said

    # The browser shows the paper itself; its bytes are fetched from the same address.
    link = manager.get_by_role("link", name="PDF")
    address = link.get_attribute("href") or ""
    with manager.expect_response(lambda answer: "report.pdf" in answer.url) as opened:
        link.click()
    assert opened.value.ok
    assert opened.value.headers["content-type"] == "application/pdf"
    manager.wait_for_url("**/report.pdf*")
    paper = manager.context.request.get(address).body()
    assert paper.startswith(b"%PDF")
    words = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(paper)).pages))
    assert "Fallow Bridge Sawmill" in words
    assert found[1] in words.replace("\xa0", " ")

    # Leaving the viewer while it still draws counts as an aborted request; what was answered is checked above.
    watch.expected.append(address)
    manager.goto("/availability/")
    with manager.expect_download() as table:
        manager.get_by_role("link", name="CSV", exact=True).click()
    table.value.save_as(tmp_path / "report.csv")
    with (tmp_path / "report.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert "K1" in {value for row in rows for value in row.values()}


def test_other_dates_that_make_no_sense_are_refused_in_words(manager: Page, watch: Watch) -> None:
    watch.expected.append("?from=2026-02-20&to=2026-02-10")
    manager.get_by_text("Other dates").click()
    manager.get_by_label("First day").fill("2026-02-20")
    manager.get_by_label("Last day").fill("2026-02-10")
    manager.get_by_role("group").filter(has_text="First day").get_by_role("button", name="Show").click()
    expect(manager.locator("#period-error")).to_contain_text("before")
    expect(manager.get_by_label("First day")).to_have_value("2026-02-20")
