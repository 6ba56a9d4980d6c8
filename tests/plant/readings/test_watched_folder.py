"""A folder that is watched: whole files are taken in once each, faulty ones recorded once, and nothing is moved."""

import os
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client

from plant import clock
from plant.background.running import run_job
from plant.frame.saying import say
from plant.models import FileIntake, Job, Reading, ReadingSource
from plant.readings.files import watched_folder
from plant.readings.files.calculations.form import FileForm
from plant.readings.files.file_intake import Assigned, confirm_and_take_in
from plant.readings.files.folders import files_in, folder_below
from plant.readings.files.watched_folder import TASK, UNENDED_S, look_at_folders, take_in_folder
from tests.factories import ChannelFactory, ReadingSourceFactory, UserFactory

NOW = datetime(2026, 11, 25, 7, 30, tzinfo=UTC)
HEAD = "time;T1\n"
FORM = FileForm(("time", "T1"), delimiter=";", decimal=",", date_order="ymd", zone="UTC")

pytestmark = pytest.mark.django_db


@pytest.fixture
def folder(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    settings.DATA_DIR, settings.READINGS_DIR = tmp_path / "data", str(tmp_path / "loggers")
    monkeypatch.setattr(clock, "now", lambda: NOW)
    found = tmp_path / "loggers" / "k1"
    found.mkdir(parents=True)
    return found


@pytest.fixture
def source(folder: Path) -> ReadingSource:
    """A source whose files are known: the first was confirmed."""
    made: ReadingSource = ReadingSourceFactory(folder="k1")
    confirmed(made)
    return made


def confirmed(source: ReadingSource) -> None:
    raw = f"{HEAD}2026-11-01 08:00;60\n".encode()
    confirm_and_take_in(source, raw, "first.csv", FORM, {"T1": Assigned(ChannelFactory())}, [], by=None)
    source.refresh_from_db()


def lay_down(folder: Path, name: str, text: str, *, age_s: float = 60) -> Path:
    path = folder / name
    path.write_bytes(text.encode())
    then = time.time() - age_s
    os.utime(path, (then, then))
    return path


class Passing:
    """Time that passes without waiting."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.shift = 0.0
        real = time.time
        monkeypatch.setattr(watched_folder.time, "time", lambda: real() + self.shift)

    def by(self, seconds: float) -> None:
        self.shift += seconds


@pytest.fixture
def passing(monkeypatch: pytest.MonkeyPatch) -> Passing:
    return Passing(monkeypatch)


def look_and_work(passing: Passing) -> list[Job]:
    """Look, let a little time pass, and do what is wanted."""
    jobs = look_at_folders()
    passing.by(15)
    for job in jobs:
        assert job.arguments == {"source": ReadingSource.objects.get().pk}
        take_in_folder(ReadingSource.objects.get())
    Job.objects.filter(what=TASK).delete()
    return jobs


def test_a_whole_file_is_taken_in_once_and_left_where_it_is(
    source: ReadingSource, folder: Path, passing: Passing
) -> None:
    path = lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n2026-11-24 08:01;62\n")
    before = path.read_bytes(), path.stat().st_mtime_ns
    assert look_and_work(passing)
    assert Reading.objects.count() == 3
    intake = FileIntake.objects.first()
    assert intake is not None
    assert (intake.file_name, intake.new, intake.by) == ("a.csv", 2, None)
    for _ in range(3):
        passing.by(60)
        assert look_and_work(passing) == []
    assert FileIntake.objects.count() == 2
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


def test_what_was_taken_in_stays_known_when_the_notes_are_lost(
    source: ReadingSource, folder: Path, passing: Passing
) -> None:
    lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n")
    look_and_work(passing)
    (watched_folder.Sights(source).path).write_text("{", encoding="utf-8")
    look_and_work(passing)
    lay_down(folder, "same-again.csv", f"{HEAD}2026-11-24 08:00;61,5\n")
    look_and_work(passing)
    assert FileIntake.objects.count() == 2


def test_a_file_that_grows_is_waited_for(source: ReadingSource, folder: Path, passing: Passing) -> None:
    lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n", age_s=1)
    [job] = look_at_folders()
    passing.by(5)
    assert take_in_folder(source) == {"taken_in": 0, "refused": 0, "known": 0}
    lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n2026-11-24 08:01;62\n", age_s=0)
    passing.by(15)
    assert take_in_folder(source)["taken_in"] == 0
    passing.by(15)
    assert take_in_folder(source)["taken_in"] == 1
    job.delete()
    # It goes on growing: what is new comes in, what is known changes nothing.
    lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n2026-11-24 08:01;62\n2026-11-24 08:02;63\n", age_s=0)
    look_and_work(passing)
    last = FileIntake.objects.first()
    assert last is not None
    assert (last.new, last.known) == (1, 2)


def test_a_last_line_without_an_end_is_waited_for(source: ReadingSource, folder: Path, passing: Passing) -> None:
    lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n2026-11-24 08:01;6", age_s=60)
    look_and_work(passing)
    assert FileIntake.objects.count() == 1
    passing.by(UNENDED_S)
    look_and_work(passing)
    assert FileIntake.objects.count() == 2


def test_a_faulty_file_is_recorded_once_with_its_faults(source: ReadingSource, folder: Path, passing: Passing) -> None:
    lay_down(folder, "bad.csv", f"{HEAD}2026-11-24 08:00;warm\n1970-01-01 00:00;1\n")
    lay_down(folder, "good.csv", f"{HEAD}2026-11-24 09:00;61\n")
    for _ in range(3):
        look_and_work(passing)
        passing.by(60)
    [refused] = FileIntake.objects.filter(is_taken_in=False)
    assert "“warm” is no number" in say(refused.faults[0])
    assert "lies outside the years 2000 to 2099" in say(refused.faults[1])
    assert Reading.objects.count() == 2
    lay_down(folder, "bad.csv", f"{HEAD}2026-11-24 08:00;60\n")
    look_and_work(passing)
    assert Reading.objects.count() == 3


def test_a_file_that_came_before_anybody_confirmed_goes_in_afterwards(folder: Path, passing: Passing) -> None:
    source = ReadingSourceFactory(folder="k1")
    lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n")
    lay_down(folder, "b.csv", f"{HEAD}2026-11-24 09:00;61,5\n")
    look_and_work(passing)
    assert [intake.is_taken_in for intake in FileIntake.objects.all()] == [False, False]
    assert "Nobody has confirmed yet" in say(FileIntake.objects.all()[0].faults[0])
    confirmed(source)
    look_and_work(passing)
    assert Reading.objects.count() == 3


def test_a_refused_file_can_be_opened_and_confirmed(folder: Path, passing: Passing) -> None:
    ReadingSourceFactory(folder="k1")
    ChannelFactory()
    path = lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n")
    look_and_work(passing)
    intake = FileIntake.objects.get()
    client = Client()
    client.force_login(UserFactory(role="kiln_master"), backend="django.contrib.auth.backends.ModelBackend")
    url = f"/readings/sources/logger/intakes/{intake.pk}/"
    assert "Look at the file" in client.get(url).content.decode()
    assert "Is the file understood rightly?" in client.post(f"{url}open/", follow=True).content.decode()
    path.write_text("changed", encoding="utf-8")
    assert "does not lie in the folder any more" in client.post(f"{url}open/", follow=True).content.decode()


def test_a_file_that_is_too_large_is_refused_without_being_read(
    source: ReadingSource, folder: Path, passing: Passing, settings: Any
) -> None:
    settings.MAX_LOAD_BYTES = 100
    lay_down(folder, "large.csv", HEAD + "2026-11-24 08:00;61,5\n" * 20)
    for _ in range(2):
        look_and_work(passing)
    [refused] = FileIntake.objects.filter(is_taken_in=False)
    assert "KILNWARD_MAX_LOAD_MB" in say(refused.faults[0])


@pytest.mark.parametrize("name", ["..", "../..", "/etc", "k1/../../x", "k1/out", "gone", "a\0b"])
def test_no_folder_outside_the_one_that_is_named_is_watched(folder: Path, name: str) -> None:
    (folder / "out").symlink_to("/etc")
    with pytest.raises(ValidationError):
        folder_below(name)


def test_without_a_folder_in_the_environment_none_is_watched(folder: Path, settings: Any) -> None:
    settings.READINGS_DIR = ""
    with pytest.raises(ValidationError, match="KILNWARD_READINGS_DIR"):
        folder_below("k1")
    ReadingSourceFactory(folder="k1")
    assert look_at_folders() == []


def test_links_hidden_files_and_other_kinds_are_left_alone(folder: Path, tmp_path: Path) -> None:
    outside = tmp_path / "secret.csv"
    outside.write_text("x", encoding="utf-8")
    (folder / "link.csv").symlink_to(outside)
    for name in (".hidden.csv", "~lock.csv", "picture.png"):
        lay_down(folder, name, "x")
    (folder / "sub.csv").mkdir()
    lay_down(folder, "a.CSV", "x")
    assert [path.name for path in files_in(folder.resolve())] == ["a.CSV"]


def test_two_sources_cannot_watch_one_folder(source: ReadingSource) -> None:
    client = Client()
    client.force_login(UserFactory(role="administrator"), backend="django.contrib.auth.backends.ModelBackend")
    typed = {"code": "two", "name": "Two", "folder": "k1/../k1"}
    page = client.post("/readings/new-source/?way=files", typed)
    assert "Another source watches this folder already" in page.content.decode()
    gone = client.post("/readings/new-source/?way=files", {**typed, "folder": "nowhere"})
    assert "There is no such folder" in gone.content.decode()


@pytest.mark.django_db(transaction=True)
def test_the_task_takes_the_files_in(source: ReadingSource, folder: Path, passing: Passing) -> None:
    lay_down(folder, "a.csv", f"{HEAD}2026-11-24 08:00;61,5\n")
    [job] = look_at_folders()
    assert job.not_before_at > job.wanted_at
    assert look_at_folders() == []
    passing.by(15)
    assert run_job(job.pk)
    job.refresh_from_db()
    assert (job.what, job.state, job.result) == (TASK, Job.State.FINISHED, {"taken_in": 1, "refused": 0, "known": 0})


def run(*arguments: str) -> int:
    """Return how the command ends."""
    try:
        call_command("take-in", *arguments)
    except CommandError as refusal:
        return refusal.returncode
    return 0


def test_the_code_of_the_command_says_how_it_ended(source: ReadingSource, folder: Path, capsys: Any) -> None:
    good = lay_down(folder, "good.csv", f"{HEAD}2026-11-24 08:00;61,5\n")
    bad = lay_down(folder, "bad.csv", f"{HEAD}2026-11-24 08:00;61,5\n2026-11-24 08:01;x\n")
    other = lay_down(folder, "other.csv", "time;T2\n2026-11-24 08:00;61,5\n")
    assert run(str(good), "--source", "logger") == 0
    assert "1 readings, 1 new, 0 known already" in capsys.readouterr().out
    assert run(str(bad), "--source", "logger") == 1
    assert run(str(folder / "gone.csv"), "--source", "logger") == 2
    assert run(str(good), "--source", "nobody") == 2
    assert run(str(other), "--source", "logger") == 3
    ReadingSource.objects.update(is_active=False)
    assert run(str(good), "--source", "logger") == 2
    assert Reading.objects.count() == 2
    assert FileIntake.objects.filter(is_taken_in=False).count() == 2


def test_a_clock_that_is_ahead_is_refused_with_its_line(source: ReadingSource, folder: Path, capsys: Any) -> None:
    tomorrow = NOW + timedelta(days=2)
    late = lay_down(folder, "late.csv", f"{HEAD}2026-11-24 08:00;61,5\n{tomorrow:%Y-%m-%d %H:%M};60\n")
    with pytest.raises(CommandError, match=r"Line 3, column “time”: .* lies ahead of the present"):
        call_command("take-in", str(late), "--source", "logger")
