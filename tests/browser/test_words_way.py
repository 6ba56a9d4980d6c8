"""A newcomer reads: the first use of a word leads to its meaning, and what a page is for can be folded away."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Visit
from tests.factories import MillFactory
from tests.maintenance.mill import a_user

pytestmark = pytest.mark.browser


def test_the_first_use_of_a_word_leads_to_its_meaning_and_no_form_has_such_a_link(visit: Visit) -> None:
    MillFactory()
    page = visit(a_user("storekeeper", "tova"))
    page.goto("/help/")
    word = page.locator(".word-link", has_text="sitting")
    expect(word).to_have_count(1)
    assert page.locator("form .word-link, a .word-link, button .word-link").count() == 0
    word.focus()
    page.keyboard.press("Enter")
    expect(page.locator("tr:target dfn")).to_have_text("sitting")
    # Of its group alone the words are unfolded.
    expect(page.locator("tr:target dfn")).to_be_visible()
    expect(page.locator("details.words-group[open]")).to_have_count(1)
    expect(page.locator(".word-link")).to_have_count(0)


def test_a_purpose_is_folded_by_the_keyboard_and_stays_so(visit: Visit) -> None:
    MillFactory()
    page = visit(a_user("storekeeper", "tova"))
    page.goto("/words/")
    purpose = page.locator("details.purpose")
    expect(purpose).to_have_attribute("open", "")
    purpose.locator("summary").focus()
    with page.expect_response("**/purposes/known/") as answer:
        page.keyboard.press("Enter")
    assert answer.value.status == 204
    page.reload()
    expect(page.locator("details.purpose")).not_to_have_attribute("open", "")
