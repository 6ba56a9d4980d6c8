"""Sources that fixtures and tests name have author, title and year; what nobody read is marked from memory."""

import csv
import re
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings

FIXTURES = settings.FIXTURES_DIR
REFERENCE = settings.BASE_DIR / "tests" / "reference"
HOW_KNOWN = {"read", "quoted", "from memory"}
# What rests on nobody's text: it says so itself.
OWN = (
    r"kiln trade|common practice|mill's own choice|^computed: (cylinder formula|psychrolib)|^affinity laws$|constructed"
    r"|shelf life: the date on the pack|size computed from the psychrometer equation|^computed: power over excess"
)
# “Simpson and Tschernitz (1979)” in a comment or a docstring.
CITED = re.compile(r"\b([A-Z][a-z]+(?: and [A-Z][a-z]+)? \((?:18|19|20)\d\d\))")


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def known() -> dict[str, dict[str, str]]:
    return {row["cited_as"]: row for row in rows(FIXTURES / "sources.csv")}


def cited() -> Iterator[tuple[str, str, str]]:
    """Where, what is cited, and how sure its row says it is; “same” stands for the row before."""
    for path in (*sorted(FIXTURES.rglob("*.csv")), *sorted(REFERENCE.rglob("*.csv"))):
        before = ""
        for number, row in enumerate(rows(path), start=2):
            source = row.get("source") or (row.get("clause") if row.get("origin") == "standard" else "")
            if source:
                before = before if re.match(r"same\b", source) else source
                yield f"{path.name}:{number}", before, row.get("source_status", "")


def of(source: str) -> list[dict[str, str]]:
    return [row for name, row in known().items() if name in source]


def test_each_source_has_author_title_year_and_how_it_is_known() -> None:
    for name, row in known().items():
        assert all(row[column].strip() for column in ("author", "title", "year")), name
        assert re.fullmatch(r"(18|19|20)\d\d|undated", row["year"]), name
        assert row["how_known"] in HOW_KNOWN, name


def test_every_row_names_a_source_that_is_on_the_list_or_says_that_it_is_our_own() -> None:
    found = list(cited())
    assert len(found) > 1000
    unknown = {source for _, source, _ in found if not of(source) and not re.search(OWN, source)}
    assert unknown == set(), "give these a row in fixtures/sources.csv"


def test_nothing_counts_as_verified_that_nobody_read() -> None:
    wrong = [
        (where, source)
        for where, source, status in cited()
        if status == "verified" and all(row["how_known"] == "from memory" for row in of(source))
    ]
    assert wrong == []


def test_every_source_of_the_list_is_cited_somewhere() -> None:
    texts = [source for _, source, _ in cited()] + [path.read_text(encoding="utf-8") for path in code()]
    assert [name for name in known() if not any(name in text for text in texts)] == []


def code() -> list[Path]:
    return [
        path
        for folder in ("tests", "plant", "inventory", "maintenance")
        for path in (settings.BASE_DIR / folder).rglob("*.py")
    ]


def test_authors_that_code_cites_with_a_year_are_on_the_list() -> None:
    names = known()
    found = {(match, path.name) for path in code() for match in CITED.findall(path.read_text(encoding="utf-8"))}
    assert found
    assert {(match, name) for match, name in found if not any(match.split(" (")[0] in one for one in names)} == set()
