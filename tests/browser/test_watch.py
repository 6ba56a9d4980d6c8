"""The eye on what goes wrong unseen sees it: a test of the tests' own watch."""

import pytest

from tests.browser.conftest import Visit, Watch
from tests.factories import MillFactory

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(
    ("trouble", "told"),
    [
        ("document.body.setAttribute('style', 'color: red')", "Content Security Policy"),
        ("fetch('/nowhere/').catch(() => {})", "404 GET"),
        ("setTimeout(() => { throw new Error('sawdust in the gear') })", "sawdust in the gear"),
    ],
)
def test_a_page_in_trouble_is_noticed(visit: Visit, watch: Watch, trouble: str, told: str) -> None:
    MillFactory()
    page = visit()
    page.goto("/sign-in/")
    assert watch.faults == []
    page.evaluate(f"() => {{ {trouble} }}")
    page.wait_for_timeout(300)
    assert any(told in fault for fault, _url in watch.faults), watch.faults
    watch.faults.clear()
