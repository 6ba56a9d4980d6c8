"""What a history keeps is said in words: no names of columns, no raw instants."""

from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from plant.templatetags.changes import figure_name, figure_value


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("due_at", "due"),
        ("entry_limit_c", "entry limit in °C"),
        ("usable_m3", "usable in m³"),
        ("is_active", "active"),
        ("cost_of_delay_per_day", "cost of delay per day"),
        ("c", "c"),
    ],
)
def test_a_name_loses_its_underscores_and_says_its_unit(name: str, said: str) -> None:
    assert figure_name(name) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (None, "–"),
        ([], "–"),
        (True, "yes"),
        ("False", "no"),
        (0, "0"),
        ("under_way", "under way"),
        ("A_01", "A_01"),
        ("2026-12-04", "4 Dec 2026"),
        ("2026-13-41", "2026-13-41"),
        ("2026-12-04T22:59:00+00:00", "4 Dec 2026 23:59"),
        (["Ada Moss", "Bo Fern"], "Ada Moss, Bo Fern"),
        ([{"level": "alarm", "text": "K6 waits."}, {"level": "mind", "text": "Test due."}], "K6 waits. Test due."),
        ({"window_before_days": 3}, "window before days: 3"),
    ],
)
def test_a_value_is_said_as_people_say_it(value: object, said: str) -> None:
    with timezone.override(ZoneInfo("Europe/Stockholm")):
        assert figure_value(value) == said
