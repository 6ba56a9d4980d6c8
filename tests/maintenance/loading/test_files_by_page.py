"""Files by page: shown as understood, taken in as a whole or not at all, and clear answers to whatever goes wrong."""

import io
import zipfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from maintenance.entry.door import go_in
from maintenance.loading import bringing, brought
from maintenance.loading.loader import load_folder
from maintenance.models import EntryAlarm, FilesBrought
from plant import clock
from plant.background.running import run_job
from plant.models import Change, Charge, Job, Kiln, Mill, Shift, User
from tests.maintenance.loading.loading_mill import CATALOGUE, CHARGES, MILL, write_files
from tests.maintenance.mill import a_person, a_user, opened
from tests.test_access_walk import signed_in

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)

KILNS = MILL["kilns"].replace("K1,60", "K1,62.5")
PLANNED = CHARGES + "K1,1,spruce,50,58,planned,2030-02-02 06:00,2030-02-06 10:00\n"


@pytest.fixture(autouse=True)
def _little_mill(settings: Any, tmp_path: Path) -> None:
    write_files(tmp_path / "fixtures" / "catalogue", dict(CATALOGUE))
    (tmp_path / "fixtures" / "words").symlink_to(Path(settings.FIXTURES_DIR) / "words")
    settings.FIXTURES_DIR, settings.DATA_DIR = tmp_path / "fixtures", tmp_path / "data"


@pytest.fixture
def mill(tmp_path: Path) -> None:
    assert load_folder(write_files(tmp_path / "mill", MILL)).is_sound


def send(client: Client, files: dict[str, str | bytes], key: UUID | None = None) -> str:
    """Send files and return the page to which that leads."""
    sent = [
        SimpleUploadedFile(name, content.encode() if isinstance(content, str) else content)
        for name, content in files.items()
    ]
    return client.post("/files/", {"key": str(key or uuid4()), "sent": sent}, follow=True).content.decode()


def packed(files: dict[str, str | bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def take_in(client: Client, digest: str = "") -> str:
    """Agree to the last files as they were shown, and return the page to which that leads."""
    found = FilesBrought.objects.latest("id")
    answer = client.post(f"{found.get_absolute_url()}take-in/", {"digest": digest or found.digest}, follow=True)
    return answer.content.decode()


def test_what_a_file_would_change_is_shown_before_anything_is_kept(mill: None) -> None:
    planner = signed_in("planner")
    page = send(planner, {"kilns.csv": KILNS, "charges.csv": PLANNED})
    assert "Are the files understood rightly?" in page
    assert "62.5" in page
    assert "60.000" in page
    assert Kiln.objects.get(tag="K1").usable_m3 == 60
    assert not Charge.objects.exists()
    assert "The files are taken in" in take_in(planner)
    assert Kiln.objects.get(tag="K1").usable_m3 == 62.5
    assert Charge.objects.get().number == "1"
    # Who brought it stands in the history, and the files themselves are gone.
    changed = Change.objects.about(Kiln.objects.get(tag="K1")).get()
    assert changed.by == User.objects.get(username="is-planner")
    assert not brought.folder_of(FilesBrought.objects.get().key).exists()


def test_every_faulty_row_is_listed_with_its_remedy_and_nothing_can_be_taken_in(mill: None) -> None:
    planner = signed_in("planner")
    page = send(
        planner, {"kilns.csv": MILL["kilns"] + "K 3,60,hot_water,none,psychrometer\nK4,-1,tea,none,psychrometr\n"}
    )
    assert "4 things are to be mended" in page
    assert all(word in page for word in ("K 3", "Use letters a to z", "tea"))
    assert "Take all of it in" not in page
    assert "cannot be taken in yet" in take_in(planner, digest=FilesBrought.objects.get().digest)
    assert Kiln.objects.count() == 2


def test_an_archive_of_a_whole_mill_begins_an_empty_database() -> None:
    administrator = signed_in("administrator")
    page = send(administrator, {"mill.zip": packed({f"our mill/{name}.csv": text for name, text in MILL.items()})})
    assert "Take all of it in" in page
    assert not Mill.objects.exists()
    take_in(administrator)
    assert Mill.objects.current().name == "Small Mill"
    assert Kiln.objects.count() == 2


def test_a_file_is_known_by_its_columns_where_its_name_says_nothing(mill: None) -> None:
    page = send(signed_in("planner"), {"from the office.csv": PLANNED, "Kilns (2).csv": KILNS})
    found = {one["file"]: one["table"] for one in FilesBrought.objects.get().report["tables"]}
    assert found == {"from the office.csv": "charges", "Kilns (2).csv": "kilns"}
    assert "Take all of it in" in page
    page = send(signed_in("administrator"), {"from the office.csv": "kiln,number,species\nK1,1,spruce\n"})
    assert "nearest to those of charges, without thickness_mm and volume_m3" in page


def test_an_empty_file_among_several_is_named(mill: None) -> None:
    page = send(signed_in("planner"), {"kilns.csv": KILNS, "charges.csv": "", "people.csv": ""})
    assert "charges.csv: The file is empty." in page and "people.csv: The file is empty." in page
    assert "kilns.csv:" not in page and not FilesBrought.objects.exists()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("plan.pdf", b"%PDF-1.7", "no CSV, no XLSX and no ZIP"),
        ("kilns.xls", b"\xd0\xcf\x11\xe0", "another kind of workbook"),
        ("half.zip", packed({"kilns.csv": KILNS * 400})[:700], "cannot be unpacked"),
        ("letters.zip", packed({"letter.txt": "Dear all"}), "no CSV and no XLSX"),
        ("book.zip", packed({"[Content_Types].xml": "", "kilns.csv": ""}), "Let its name end in .xlsx"),
    ],
)
def test_what_cannot_be_a_mills_file_is_said_at_once(mill: None, name: str, content: bytes, said: str) -> None:
    assert said in send(signed_in("planner"), {name: content})
    assert not FilesBrought.objects.exists()


def test_a_broken_workbook_is_a_fault_of_that_file(mill: None) -> None:
    page = send(signed_in("planner"), {"kilns.xlsx": packed({"xl/workbook.xml": "<x"}), "charges.csv": PLANNED})
    assert "This is no workbook (XLSX)" in page
    assert "Take all of it in" not in page


def test_an_archive_that_grows_without_end_is_stopped(mill: None, settings: Any) -> None:
    settings.MAX_LOAD_BYTES = 1000
    zeros = io.BytesIO()
    with zipfile.ZipFile(zeros, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("kilns.csv", "0" * 100_000)
    planner = signed_in("planner")
    assert "larger than files may be" in send(planner, {"kilns.zip": zeros.getvalue()})
    assert "more than 0 MB" in send(planner, {"kilns.csv": "0" * 2000})
    assert not FilesBrought.objects.exists()


def test_the_same_files_twice_change_nothing_and_say_when_they_came(mill: None) -> None:
    planner = signed_in("planner")
    send(planner, {"kilns.csv": KILNS})
    take_in(planner)
    page = send(planner, {"kilns.csv": KILNS})
    assert "The files change nothing" in page
    assert "The very same files were taken in" in page
    assert "Take all of it in" not in page


def test_sent_twice_by_an_impatient_finger_they_are_there_once(mill: None) -> None:
    planner, key = signed_in("planner"), uuid4()
    send(planner, {"kilns.csv": KILNS}, key)
    send(planner, {"kilns.csv": KILNS}, key)
    assert FilesBrought.objects.count() == 1
    take_in(planner)
    assert "taken in already" in take_in(planner)


def test_who_comes_second_sees_what_the_files_would_do_by_now(mill: None) -> None:
    planner = signed_in("planner")
    send(planner, {"kilns.csv": KILNS})
    Kiln.objects.filter(tag="K1").update(usable_m3=61)
    page = take_in(planner)
    assert "the mill has changed since you looked" in page
    assert "61.000" in page
    assert Kiln.objects.get(tag="K1").usable_m3 == 61
    assert "The files are taken in" in take_in(planner)
    assert Kiln.objects.get(tag="K1").usable_m3 == 62.5


def test_what_was_shown_otherwise_is_not_agreed_to(mill: None) -> None:
    planner = signed_in("planner")
    send(planner, {"kilns.csv": KILNS})
    assert "looked at anew" in take_in(planner, digest="0" * 64)
    assert Kiln.objects.get(tag="K1").usable_m3 == 60


def test_a_file_that_changed_between_look_and_taking_in_is_not_taken_in(mill: None) -> None:
    planner = signed_in("planner")
    send(planner, {"kilns.csv": KILNS})
    found = FilesBrought.objects.get()
    (brought.folder_of(found.key) / "kilns.csv").write_text(KILNS.replace("62.5", "99"))
    assert "no longer kept here" in take_in(planner)
    assert Kiln.objects.get(tag="K1").usable_m3 == 60


def test_nobody_changes_by_a_file_what_they_may_not_change_by_a_page(mill: None) -> None:
    crew = "code,name,sign_in,roles\nann,Ann,ann,administrator\n"
    planner = signed_in("planner")
    page = send(planner, {"crew.csv": crew, "bins.csv": MILL["bins"]})
    assert page.count("Your role does not allow you to change") == 2
    assert "give sign-ins" in page
    page = send(planner, {"crew.csv": "code,name\nann,Ann\n"})
    assert "Take all of it in" in page
    page = send(signed_in("administrator"), {"crew.csv": crew, "bins.csv": MILL["bins"] + "A-02,Shelf\n"})
    assert "Take all of it in" in page


def test_what_is_large_goes_through_the_background_and_can_be_read_later(
    mill: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bringing, "LARGE_BYTES", 10)
    planner = signed_in("planner")
    page = send(planner, {"shifts.csv": "code,name,weekdays,start_time,end_time\nlate,Late,MO,14:00,22:00\n"})
    assert "The files are being looked at" in page
    found = FilesBrought.objects.get()
    address = f"{found.get_absolute_url()}progress/"
    assert "How far it is" in planner.get(address).content.decode()
    assert run_job(Job.objects.latest("id").pk)
    assert planner.get(address)["HX-Refresh"] == "true"
    assert "are being taken in" in take_in(planner)
    assert "being taken in just now" in take_in(planner)
    assert not Shift.objects.exists()
    assert run_job(Job.objects.latest("id").pk)
    assert "The files are taken in" in planner.get(found.get_absolute_url()).content.decode()
    assert Shift.objects.get().code == "late"
    assert bringing.take_in(found.pk, None) == {}


def test_files_that_are_not_wanted_are_cleared_away(mill: None) -> None:
    planner = signed_in("planner")
    send(planner, {"kilns.csv": KILNS})
    found = FilesBrought.objects.get()
    planner.post(f"{found.get_absolute_url()}put-aside/")
    assert not brought.folder_of(found.key).exists()
    assert "no longer kept here" in take_in(planner)


def test_a_template_can_be_fetched_for_each_table_and_for_all() -> None:
    planner = signed_in("planner")
    one = planner.get("/files/templates/charges.csv")
    assert one.content.decode("utf-8-sig").startswith("kiln,number,species")
    with zipfile.ZipFile(io.BytesIO(planner.get("/files/templates.zip").content)) as archive:
        assert {"mill.csv", "kilns.csv", "charges.csv"} <= set(archive.namelist())
    assert planner.get("/files/templates/tea.csv").status_code == 404


def test_what_is_to_be_of_a_charge_that_was_taken_out_is_decided_on_the_page(mill: None) -> None:
    planner = signed_in("planner")
    send(planner, {"charges.csv": PLANNED})
    take_in(planner)
    Charge.objects.update(taken_out_at=clock.now())
    page = send(planner, {"charges.csv": PLANNED})
    assert "One charge in the files was taken out of the programme here." in page
    assert "Take all of it in" not in page
    found = FilesBrought.objects.latest("id")
    page = planner.post(f"{found.get_absolute_url()}decide/", {"taken_out": "leave"}, follow=True).content.decode()
    assert "The files change nothing" in page
    assert "It stays out" in page
    page = planner.post(f"{found.get_absolute_url()}decide/", {"taken_out": "anew"}, follow=True).content.decode()
    assert "Take all of it in" in page
    take_in(planner)
    assert Charge.objects.get().number == "1"


# What is shown above the button


def running_since(at: datetime, number: str = "9") -> str:
    begin, end = (f"{one.astimezone(ZoneInfo('Europe/Stockholm')):%Y-%m-%d %H:%M}" for one in (at, at + 90 * HOUR))
    return f"{CHARGES}K1,{number},spruce,50,55,running,{begin},{end}\n"


def test_who_is_inside_a_kiln_that_runs_by_a_file_is_named_above_the_button(mill: None) -> None:
    planner, master = signed_in("planner"), a_user("kiln_master", "ilse")
    page = send(planner, {"charges.csv": running_since(clock.now() - HOUR)})
    assert "By these files a kiln runs" not in page
    # Who goes in after the files were looked at is named as well.
    go_in(opened(Kiln.objects.get(tag="K1"), master), a_person("una"), by=master, key=uuid4(), is_own_lock_on=True)
    found = FilesBrought.objects.get()
    page = planner.get(found.get_absolute_url()).content.decode()
    above, below = page.split("<main", 1)[1].split("Take all of it in", 1)
    assert "K1: charge 9 runs since" in above
    assert "Inside K1: Una. Per stays outside. Bring everybody out" in above
    assert "ring whoever runs the kiln" in above
    assert "a kiln runs" not in below
    assert not EntryAlarm.objects.exists()
    # The report is kept all the same, and the alarm raised; then there is no news in it.
    page = take_in(planner)
    assert "The files are taken in" in page
    assert "By these files a kiln runs" not in page
    assert EntryAlarm.objects.get().inside == ["Una"]
    assert "By these files a kiln runs" not in send(planner, {"charges.csv": running_since(clock.now() - HOUR)})


def test_a_phase_that_a_file_moves_is_shown_as_a_change_with_the_rest_of_its_row(mill: None) -> None:
    planner = signed_in("planner")
    head = PLANNED.replace("end_at\n", "end_at,heating_up_at,drying_at\n").replace("10:00\n", "10:00,{},{}\n")
    send(planner, {"charges.csv": head.format("2030-02-02 08:30", "2030-02-02 18:00")})
    take_in(planner)
    page = send(planner, {"charges.csv": head.format("2030-02-02 07:30", "2030-02-02 18:00")})
    (change,) = FilesBrought.objects.latest("id").report["changes"]
    assert change["before"]["heating_up_at"] == "2030-02-02 08:30"
    assert change["after"]["heating_up_at"] == "2030-02-02 07:30"
    assert not {"drying_at", "begin_at"} & change["after"].keys()
    assert "<code>heating_up_at</code>" in page
    again = head.format("2030-02-02 07:30", "").replace("K1,1,spruce", "K1,1,pine")
    page = send(planner, {"charges.csv": again})
    (change,) = FilesBrought.objects.latest("id").report["changes"]
    assert (change["after"]["species"], change["before"]["drying_at"], change["after"]["drying_at"]) == (
        "pine",
        "2030-02-02 18:00",
        "",
    )
