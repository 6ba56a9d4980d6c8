"""Files are read whatever program wrote them; what cannot be used is refused as a whole, with the remedy."""

import zipfile
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import Workbook

from maintenance.loading.faults import FileFault
from maintenance.loading.reading import LARGEST_COLUMNS, Sheet, list_files, read_sheet

COLUMNS = ("tag", "name", "usable_m3")
MEGABYTE = 1024 * 1024


def read(tmp_path: Path, content: str | bytes, name: str = "kilns.csv", limit: int = MEGABYTE) -> Sheet:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_sheet(path, "kilns", COLUMNS, limit)


def refusal(tmp_path: Path, content: str | bytes, name: str = "kilns.csv", limit: int = MEGABYTE) -> str:
    with pytest.raises(FileFault) as caught:
        read(tmp_path, content, name, limit)
    return str(caught.value.fault)


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_any_usual_delimiter_is_found(tmp_path: Path, mark: str) -> None:
    sheet = read(tmp_path, f"tag{mark}usable_m3\r\nK1{mark}60\r\n")
    assert sheet.rows == [(2, {"tag": "K1", "usable_m3": "60"})]


def test_decimal_commas_do_not_mislead_the_search_for_the_delimiter(tmp_path: Path) -> None:
    assert read(tmp_path, "tag;usable_m3\nK1;60,5\n").rows[0][1]["usable_m3"] == "60,5"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_is_read_with_and_without_its_mark(tmp_path: Path, encoding: str) -> None:
    sheet = read(tmp_path, "tag,name\nK1,Södra torken\n".encode(encoding))
    assert sheet.rows[0][1]["name"] == "Södra torken"
    assert sheet.notes == []


def test_windows_text_is_read_and_said(tmp_path: Path) -> None:
    sheet = read(tmp_path, "tag,name\nK1,Södra torken\n".encode("cp1252"))
    assert sheet.rows[0][1]["name"] == "Södra torken"
    assert "Windows-1252" in sheet.notes[0]


def test_column_names_may_have_capitals_and_spaces(tmp_path: Path) -> None:
    assert read(tmp_path, "Tag,Usable M3\nK1,60\n").header == ["tag", "usable_m3"]


def test_rows_keep_their_number_past_empty_rows_and_line_breaks_in_cells(tmp_path: Path) -> None:
    sheet = read(tmp_path, 'tag,name\nK1,"two\nlines"\n,\nK2,x\n')
    assert [number for number, _ in sheet.rows] == [2, 4]


def test_a_row_with_too_many_cells_is_listed(tmp_path: Path) -> None:
    sheet = read(tmp_path, "tag,name\nK1,a,b\nK2,c,\n")
    assert [fault.row for fault in sheet.faults] == [2]
    assert [number for number, _ in sheet.rows] == [3]


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "the file is empty"),
        (b"\n\n", "the file is empty"),
        (b"tag,name\0\n", "NUL"),
        (b"\x89PNG\r\n\x1a\n", "not a text file"),
        (bytes(range(128, 160)), "no known encoding"),
        (b"PK\x03\x04rest", "packed file"),
        (b"tag,tag\n", "2 columns are named so"),
        (b"tag,,name\n", "a column has no name"),
        (b'tag,name\nK1,"open\n', "cannot be read as CSV"),
        (b"\xff\xfet", "broken UTF-16"),
        ("tag,name\0\n".encode("utf-16"), "NUL"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path: Path, content: bytes, expected: str) -> None:
    assert expected in refusal(tmp_path, content)


def test_every_unknown_column_is_listed_and_the_others_are_read(tmp_path: Path) -> None:
    sheet = read(tmp_path, "tag,nmae,colour\nK1,x,red\n")
    assert [(fault.row, fault.column) for fault in sheet.faults] == [(1, "nmae"), (1, "colour")]
    assert "Did you mean “name”?" in str(sheet.faults[0])
    assert sheet.rows[0][1]["tag"] == "K1"


def test_a_million_columns_are_refused_at_once(tmp_path: Path) -> None:
    assert f"more than {LARGEST_COLUMNS} columns" in refusal(tmp_path, "a," * 1_000_000, limit=4 * MEGABYTE)


def test_a_file_above_the_limit_is_not_opened(tmp_path: Path) -> None:
    assert "the limit is" in refusal(tmp_path, b"x" * 2000, limit=1000)


def workbook(tmp_path: Path, rows: list[list[object]]) -> Sheet:
    book = Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append(row)
    book.save(tmp_path / "kilns.xlsx")
    return read_sheet(tmp_path / "kilns.xlsx", "kilns", COLUMNS, MEGABYTE)


def test_a_workbook_gives_text_as_it_would_be_typed(tmp_path: Path) -> None:
    sheet = workbook(
        tmp_path, [["tag", "name", "usable_m3"], [7.0, datetime(2026, 3, 1, 6, 30), 60.5], [True, None, "=1+1"]]
    )
    assert sheet.rows[0] == (2, {"tag": "7", "name": "2026-03-01 06:30:00", "usable_m3": "60.5"})
    assert sheet.rows[1] == (3, {"tag": "yes", "name": "", "usable_m3": "=1+1"})


def test_what_is_no_workbook_is_refused(tmp_path: Path) -> None:
    assert "no workbook" in refusal(tmp_path, b"hello", name="kilns.xlsx")
    assert "no workbook" in refusal(tmp_path, b"PK\x05\x06" + b"\0" * 18, name="kilns.xlsx")


def test_a_workbook_with_broken_insides_is_refused(tmp_path: Path) -> None:
    workbook(tmp_path, [["tag"], ["K1"]])
    with zipfile.ZipFile(tmp_path / "kilns.xlsx") as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    for broken in ("xl/worksheets/sheet1.xml", "xl/workbook.xml", "[Content_Types].xml"):
        with zipfile.ZipFile(tmp_path / "broken.xlsx", "w") as packed:
            for name, content in parts.items():
                packed.writestr(name, content[: len(content) // 2] if name == broken else content)
        with pytest.raises(FileFault, match="no workbook"):
            read_sheet(tmp_path / "broken.xlsx", "kilns", COLUMNS, MEGABYTE)


def test_a_packed_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "kilns.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b"0" * 20_000_000)
    with pytest.raises(FileFault) as caught:
        read_sheet(path, "kilns", COLUMNS, MEGABYTE)
    assert "unpacked it has 20 MB" in str(caught.value.fault)


def test_files_are_found_by_name_and_strangers_are_listed(tmp_path: Path) -> None:
    for name in ("Kilns.CSV", "notes.txt", "crw.csv", "parts.csv", "parts.xlsx"):
        (tmp_path / name).write_text("x")
    found, faults = list_files(tmp_path, {"kilns", "crew", "parts"})
    assert sorted(found) == ["kilns", "parts"]
    assert "Did you mean “crew”?" in str(faults[0])
    assert "parts.csv holds the same table" in str(faults[1])
