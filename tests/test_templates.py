"""Templates can be reviewed: no line is longer than a screen shows."""

from pathlib import Path

from django.conf import settings

MOST_COLUMNS = 120
STOREYS = ("config", "inventory", "maintenance", "plant")


def test_no_line_of_a_template_is_longer_than_120_columns() -> None:
    longer = [
        f"{path.relative_to(settings.BASE_DIR)}:{number}: {len(line)} columns"
        for storey in STOREYS
        for path in sorted(Path(settings.BASE_DIR, storey).rglob("*.html"))
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if len(line) > MOST_COLUMNS
    ]
    assert not longer, "\n".join(longer)
