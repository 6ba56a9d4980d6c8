"""The availability report as somebody at the mill gets to see it."""

import csv
import io
import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from plant.models import Downtime, Kiln
from tests.factories import ChargeFactory, ComponentFactory, DowntimeFactory, KilnFactory, MillFactory, UserFactory

MARCH = datetime(2026, 2, 28, 23, tzinfo=UTC)
H = timedelta(hours=1)
BACKEND = "django.contrib.auth.backends.ModelBackend"
URL = "/availability/"
REPORTS = (URL, "/availability/report.pdf", "/availability/report.csv", "/availability/downtime.csv")


@pytest.fixture(autouse=True)
def _day(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.KILNWARD_TODAY = "2026-05-04"
    # At noon, whatever the hour of the machine: late in the evening the mill's day would be the next one.
    monkeypatch.setattr("plant.clock.now", lambda: datetime(2026, 5, 4, 10, tzinfo=UTC))


@pytest.fixture
def manager(client: Client, db: None) -> Client:
    client.force_login(UserFactory(role="manager"), backend=BACKEND)
    return client


@pytest.fixture
def kiln(db: None) -> Kiln:
    kiln = KilnFactory(mill=MillFactory())
    for number in range(24):
        begin_at = MARCH - timedelta(days=60) + timedelta(days=5 * number)
        ChargeFactory(kiln=kiln, begin_at=begin_at, basis="done")
    return kiln


def words_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def table_of(answer: Any) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))


def test_the_page_says_in_one_sentence_how_available_the_kilns_were(manager: Client, kiln: Kiln) -> None:
    DowntimeFactory(kiln=kiln, component=ComponentFactory(kiln=kiln), start_at=MARCH + 48 * H, end_at=MARCH + 78 * H)
    DowntimeFactory(kiln=kiln, kind="no_timber", start_at=MARCH + 300 * H, end_at=MARCH + 343 * H)
    answer = manager.get(URL, {"period": "2026-03"})
    said = words_of(answer)
    assert answer.status_code == 200
    # 670 of 700 required hours; 30 h at 55 m3 in 120 h, a little more where only able hours count
    assert "The kilns were available in 95.7 % of their required hours, 700 h." in said
    assert "Weighed by the volume" not in said
    assert re.search(r"1[45] m³ were not dried for maintenance reasons", said)
    assert "<title>K1: stopped, 3 Mar 00:00 to 4 Mar 06:00, 30.0 h: fan 3, fan 3 bearing</title>" in said
    assert "so far" not in said


def test_a_running_period_says_so_far_and_nothing_required_says_undefined(manager: Client, kiln: Kiln) -> None:
    DowntimeFactory(kiln=kiln, kind="no_timber", start_at=MARCH - timedelta(days=90), end_at=None)
    said = words_of(manager.get(URL, {"period": "2026-05"}))
    assert "Availability so far is undefined: in this period no kiln had required hours" in said
    assert "The period is not over: counted up to 4 May 2026" in said
    assert "undefined: no required hours" in said


def test_twelve_whole_months_are_shown_unless_asked_otherwise(manager: Client, kiln: Kiln) -> None:
    assert "Kiln availability, May 2025 to April 2026" in words_of(manager.get(URL))
    assert "Kiln availability, quarter 1 of 2026" in words_of(manager.get(URL, {"period": "2026-Q1"}))
    own = words_of(manager.get(URL, {"from": "2026-03-02", "to": "2026-03-02"}))
    assert "Kiln availability, 2 March 2026" in own
    assert "of their required hours, 24 h" in own


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"period": "yesterday"}, "“yesterday” is no period"),
        ({"from": "2026-03-31", "to": "2026-03-01"}, "lies before the first"),
        ({"from": "<b>", "to": ""}, "The first day, “&lt;b&gt;”, is no day"),
        ({"period": "2027"}, "still to come"),
    ],
)
def test_a_period_that_makes_no_sense_is_answered_in_words(
    manager: Client, kiln: Kiln, asked: dict[str, str], message: str
) -> None:
    answer = manager.get(URL, asked)
    assert answer.status_code == 400
    assert message in words_of(answer)
    for url in REPORTS[1:]:
        turned = manager.get(url, asked, follow=True)
        assert (turned.status_code, message in words_of(turned)) == (400, True)


def test_causes_are_sorted_as_asked_and_a_strange_order_is_ignored(manager: Client, kiln: Kiln) -> None:
    DowntimeFactory(kiln=kiln, start_at=MARCH + H, end_at=MARCH + 41 * H, cause="zinc dust")
    for number in range(3):
        start_at = MARCH + (100 + 20 * number) * H
        DowntimeFactory(kiln=kiln, start_at=start_at, end_at=start_at + H, cause="ants")
    found = {}
    for sort in ("volume", "failures", "cause", "nonsense"):
        said = words_of(manager.get(URL, {"period": "2026-03", "sort": sort, "by": "reason"}))
        found[sort] = said.index('ants <span class="soft') < said.index('zinc dust <span class="soft')
    assert found == {"volume": False, "failures": True, "cause": True, "nonsense": False}


def test_tables_to_take_away_hold_the_same_figures_and_run_no_formula(manager: Client, kiln: Kiln) -> None:
    DowntimeFactory(kiln=kiln, start_at=MARCH + 48 * H, end_at=MARCH + 78 * H, cause="=1+1")
    DowntimeFactory(kiln=kiln, start_at=MARCH - 9 * H, end_at=MARCH - 8 * H, cause="before")
    (row,) = table_of(manager.get(REPORTS[2], {"period": "2026-03"}))
    hours = [
        Decimal(row[name]) for name in ("able_h", "slowed_h", "planned_h", "stopped_h", "outside_h", "no_timber_h")
    ]
    assert (sum(hours), row["stopped_h"], row["failures"]) == (743, "30.0", "1")
    steps = [name for name in row if name.endswith("_m3") and name not in ("usable_m3", "could_dry_m3")]
    assert Decimal(row["could_dry_m3"]) == sum(Decimal(row[name]) for name in steps)
    (record,) = table_of(manager.get(REPORTS[3], {"period": "2026-03"}))
    assert (record["cause"], record["start"], record["hours_in_period"]) == ("'=1+1", "2026-03-03 00:00", "30.0")


def test_the_paper_says_the_same_as_the_page(manager: Client, kiln: Kiln) -> None:
    DowntimeFactory(kiln=kiln, start_at=MARCH + 48 * H, end_at=MARCH + 78 * H, cause="Łódź bearing & <b>Ω</b>")
    answer = manager.get(REPORTS[1], {"period": "2026-03"})
    assert (answer["Content-Type"], answer.content[:5]) == ("application/pdf", b"%PDF-")
    pages = PdfReader(io.BytesIO(answer.content)).pages
    said = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))
    assert 1 <= len(pages) <= 3
    assert "The kilns were available in 96.0 % of their required hours" in said
    assert "Łódź bearing & <b>Ω</b>" in said
    assert f"Page 1 of {len(pages)}" in said
    assert "Where the drying went" in said and "MTBF" in said


def test_head_and_foot_name_hours_and_volume_apart(manager: Client, kiln: Kiln) -> None:
    large = KilnFactory(tag="K2", usable_m3=180)
    DowntimeFactory(kiln=large, start_at=MARCH, end_at=MARCH + 743 * H / 2)
    said = words_of(manager.get(URL, {"period": "2026-03"}))
    # One of two kilns stands half the month; it holds three quarters of the volume.
    assert "The kilns were available in 75.0 % of their required hours, 1,486 h." in said
    assert "Weighed by the volume that each kiln holds it is 62.5 %." in said
    assert "62.5 % by volume" in said


def test_the_page_paper_and_tables_are_about_the_kiln_that_was_asked_for(manager: Client, kiln: Kiln) -> None:
    other = KilnFactory(tag="K2")
    DowntimeFactory(kiln=other, start_at=MARCH, end_at=MARCH + H, cause="ants")
    DowntimeFactory(kiln=kiln, start_at=MARCH, end_at=MARCH + H, cause="bees")
    asked = {"period": "2026-03", "kiln": "K2"}
    said = words_of(manager.get(URL, asked))
    assert "Availability of K2, March 2026" in said
    assert ("ants" in said, "bees" in said, "All kilns" in said) == (True, False, False)
    assert "</span>February 2026</a>" in said and "April 2026<span" in said
    assert "period=2026-02&amp;kiln=K2" in said and "report.pdf?period=2026-03&amp;kiln=K2" in said
    paper = " ".join(
        page.extract_text() for page in PdfReader(io.BytesIO(manager.get(REPORTS[1], asked).content)).pages
    )
    assert ("Availability of K2" in paper, "ants" in paper, "bees" in paper) == (True, True, False)
    assert [row["kiln"] for url in REPORTS[2:] for row in table_of(manager.get(url, asked))] == ["K2", "K2"]
    assert "K2-availability-2026-03-01" in manager.get(REPORTS[2], asked)["Content-Disposition"]


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("kiln=K99", "There is no kiln “K99” on record. Choose one from the list."),
        ("kiln=K1&kiln=K99", "The report is about one kiln or about all, not about K1, K99. Choose one."),
    ],
)
def test_a_kiln_that_cannot_be_reported_is_refused_in_words(
    manager: Client, kiln: Kiln, query: str, message: str
) -> None:
    for url in REPORTS:
        answer = manager.get(f"{url}?period=2026-03&{query}", follow=True)
        assert (answer.status_code, message in words_of(answer)) == (400, True)


def test_causes_outside_are_listed_apart_and_cost_the_kiln_nothing(manager: Client, kiln: Kiln) -> None:
    DowntimeFactory(kiln=kiln, kind="external", start_at=MARCH + 9 * H, end_at=MARCH + 19 * H, cause="power cut")
    said = words_of(manager.get(URL, {"period": "2026-03"}))
    assert "The kilns were available in 100.0 % of their required hours, 733 h." in said
    assert "Causes outside the kilns cost 5 m³ more; they do not count against availability." in said
    assert "Nothing stopped or slowed a kiln unplanned in this period." in said
    assert "<title>K1: outside cause, 1 Mar 09:00 to 1 Mar 19:00, 10.0 h: power cut</title>" in said
    (row,) = table_of(manager.get(REPORTS[2], {"period": "2026-03"}))
    assert (row["outside_h"], row["stopped_h"], row["failures"], row["availability"]) == ("10.0", "0.0", "0", "1.00000")
    (record,) = table_of(manager.get(REPORTS[3], {"period": "2026-03"}))
    assert (record["kind"], record["cause"]) == ("external", "power cut")
    paper = PdfReader(io.BytesIO(manager.get(REPORTS[1], {"period": "2026-03"}).content)).pages
    assert "Causes outside the kilns" in " ".join(page.extract_text() for page in paper)


def test_a_mill_without_kilns_is_told_what_to_do(manager: Client) -> None:
    assert "No mill is on record yet" in words_of(manager.get(URL))
    MillFactory()
    assert "A kiln that is in use, or was busy in the period, appears here" in words_of(manager.get(URL))
    assert [manager.get(url).status_code for url in REPORTS] == [200, 200, 200, 200]


@pytest.mark.parametrize("role", ["technician", "manager"])
def test_only_roles_that_may_see_availability_get_it(client: Client, kiln: Kiln, role: str) -> None:
    client.force_login(UserFactory(role=role), backend=BACKEND)
    expected = 200 if role == "manager" else 403
    assert [client.get(url).status_code for url in REPORTS] == [expected] * 4


def test_the_page_takes_as_many_queries_with_10_as_with_2_000_records(manager: Client, kiln: Kiln) -> None:
    counts = []
    for count in (10, 2000):
        Downtime.objects.all().delete()
        starts = (MARCH + timedelta(minutes=20 * number) for number in range(count))
        Downtime.objects.bulk_create(
            Downtime(kiln=kiln, kind="unplanned", start_at=at, end_at=at + timedelta(minutes=7), cause="chain")
            for at in starts
        )
        with CaptureQueriesContext(connection) as queries:
            answer = manager.get(URL, {"period": "2026-03"})
        counts.append(len(queries))
        assert len(answer.content) < 300_000
    assert counts[0] == counts[1]


def test_board_feet_are_shown_where_the_mill_counts_in_them(manager: Client, kiln: Kiln) -> None:
    kiln.mill.volume_unit = "board_feet"
    kiln.mill.save(update_fields=["volume_unit"])
    DowntimeFactory(kiln=kiln, start_at=MARCH + 48 * H, end_at=MARCH + 78 * H)
    said = words_of(manager.get(URL, {"period": "2026-03"}))
    figures = [int(f.replace(",", "")) for f in re.findall(r'bridge-figure">[−+]?([\d,]+) board feet', said)]
    signs = re.findall(r'bridge-figure">([−+]?)[\d,]+ board feet', said)
    steps = [-value if sign == "−" else value for sign, value in zip(signs, figures, strict=True)]
    assert sum(steps[:-1]) == steps[-1] > 100_000


def test_every_figure_is_explained_on_the_page_of_words(manager: Client, kiln: Kiln) -> None:
    said = manager.get(URL, {"period": "2026-03"}).content.decode()
    links = re.findall(r'<dt><a href="(/words/[^"]+)"', said)
    assert len(links) == 9
    for link in links:
        assert "No word tells of that" not in manager.get(link).content.decode()


def test_many_causes_are_shown_in_part_until_all_are_asked_for(manager: Client, kiln: Kiln) -> None:
    for number in range(12):
        start_at = MARCH + 20 * number * H
        DowntimeFactory(kiln=kiln, start_at=start_at, end_at=start_at + H, cause=f"cause {number}")
    part = words_of(manager.get(URL, {"period": "2026-03", "by": "reason"}))
    whole = words_of(manager.get(URL, {"period": "2026-03", "by": "reason", "all": "1"}))
    row = 'data-head="Reason"'
    assert (part.count(row), "Show 4 more causes" in part) == (8, True)
    assert (whole.count(row), "more causes" in whole) == (12, False)
