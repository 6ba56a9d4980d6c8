"""A small mill in files, and a catalogue of a few rows, so that a load takes milliseconds."""

from collections.abc import Mapping
from pathlib import Path

from maintenance.loading.faults import Report
from maintenance.loading.loader import load_folder

CATALOGUE = {
    "component_kinds": "code,name,group,end_view_no\nfan,Fan,air,5\nescape-door,Escape door,safety,3\n",
    "skills": "code,name\nmechanical,Mechanical work\nlock-out,Lock-out\n",
    "failure_modes": (
        "code,component_kind,name\nfan-stopped,fan,fan stands still\nescape-latch-corroded,escape-door,latch corroded\n"
    ),
    "part_kinds": "code,name,unit,component_kind\nfan-belt,Fan belt,piece,fan\n",
    "check_points": (
        "code,component_kind,end_view_no,what,seen_in,method,criterion,per,interval_is\n"
        "fans-run,fan,5,All fans run,running,Listen,All turn,component,mill's choice\n"
        "escape-latch,escape-door,3,Latch,open_empty,Try it,Opens,component,mill's choice\n"
    ),
    "task_sheets": (
        "code,title,component_kind,needs_state,hours,crew,skills,is_proof_test,is_safety\n"
        "belt-exchange,Exchange the belt,fan,empty,1.5,1,mechanical,no,no\n"
        "door-test,Proof test,escape-door,empty,0.5,2,lock-out,yes,yes\n"
    ),
    "task_steps": (
        "sheet,no,text,reading_name,reading_unit,low,high,is_required\n"
        "belt-exchange,1,Slacken the motor,,,,,yes\nbelt-exchange,2,Tension,Sag,mm,8,12,yes\n"
    ),
    "task_parts": "sheet,part_kind,quantity\nbelt-exchange,fan-belt,2\n",
    "standing_defaults": (
        "sheet,every,every_unit,window_before,window_after,reset_early,reset_inside,reset_late,interval_is\n"
        "belt-exchange,2000,running_hour,14,14,completion,anchored,completion,mill's choice\n"
        "door-test,1,month,7,0,completion,completion,completion,published\n"
    ),
}

MILL = {
    "mill": "name,time_zone\nSmall Mill,Europe/Stockholm\n",
    "kilns": (
        "tag,usable_m3,heating_medium,humidifying,climate_sensing\n"
        "K1,60,hot_water,water_spray,psychrometer\nK2,80,steam,steam_spray,psychrometer\n"
    ),
    "components": "kiln,tag,kind,name\nK1,fan-1,fan,Fan 1\nK1,door-1,escape-door,Escape door\nK2,fan-1,fan,Fan 1\n",
    "bins": "code,place\nA-01,Shelf\n",
    "parts": "code,name,kind,bin,fits\nbelt-a,Belt A,fan-belt,A-01,fan\n",
}

CHARGES = "kiln,number,species,thickness_mm,volume_m3,basis,begin_at,end_at\n"


def write_files(folder: Path, files: Mapping[str, str | bytes]) -> Path:
    """Write files by table name; a name with a dot is taken as it is."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        path = folder / (name if "." in name else f"{name}.csv")
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            path.write_text(content, encoding="utf-8", newline="")
    return folder


def load_files(folder: Path, files: Mapping[str, str | bytes], *, is_check: bool = False) -> Report:
    """Load the small mill with some files added or exchanged."""
    return load_folder(write_files(folder, {**MILL, **files}), is_check=is_check)


def reasons(report: Report) -> list[str]:
    """Return all faults as lines."""
    return [str(fault) for fault in report.faults]


def counts(report: Report) -> set[tuple[int, int]]:
    """Return what was new and changed, of every file."""
    return {(found.new, found.changed) for found in report.counts.values()}
