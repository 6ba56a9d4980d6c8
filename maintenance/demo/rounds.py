"""Function checks with their findings, defects, and what sat where."""

import random
from datetime import datetime, timedelta

from maintenance.checks.check_points import EVERY_KILN_HAS, ONLY_WHERE_REVERSING, REVERSING_KILN_ASKS
from maintenance.demo.programme import laid_opening
from maintenance.demo.world import (
    HOUR,
    UPKEEP_HOURS,
    ZONE,
    KilnStory,
    Row,
    World,
    next_slot,
    read_catalogue,
    read_static,
)

CHECK_EVERY_DAYS = 128
# What comes slowly enough to be left until the next check, by mechanism (ISO 14224).
WEAR = ("2.2 corrosion", "2.4 wear", "5.2 contamination")
# One check is under way: the sitting while the kiln ran, then half of the open one, until timber had to go in.
UNDER_WAY_KILN, UNDER_WAY_DAYS_BEFORE = "K5", 1
UNDER_WAY_DEFECT = ("exhaust-flap", "exhaust-flaps-travel", "exhaust-flap-stuck")


def points_of(kiln: Row, components: list[dict[str, str]]) -> list[tuple[Row, str]]:
    """Return (point, component) that a check of the kiln looks at, as the program lays them out."""
    by_kind: dict[str, list[str]] = {}
    for component in components:
        by_kind.setdefault(component["kind"], []).append(component["tag"])
    is_reversing = kiln["is_reversing"] == "yes"
    found = []
    for point in read_catalogue("check_points"):
        tags = by_kind.get(point["component_kind"], [])
        if point["per"] == "component":
            found += [(point, tag) for tag in tags]
        elif point["code"] in ONLY_WHERE_REVERSING and not is_reversing:
            continue
        elif (
            (is_reversing and point["code"] in REVERSING_KILN_ASKS) or tags or point["component_kind"] in EVERY_KILN_HAS
        ):
            found.append((point, ""))
    return found


class Rounds:
    """The function checks of all kilns, in the order in which they were started."""

    def __init__(self, world: World, stories: list[KilnStory]) -> None:
        self.world = world
        self.modes: dict[str, list[Row]] = {}
        for mode in read_catalogue("failure_modes"):
            self.modes.setdefault(mode["component_kind"], []).append(mode)
        self.checks: list[Row] = []
        self.findings: list[Row] = []
        self.defects: list[Row] = []
        kilns = {kiln["tag"]: kiln for kiln in world.kilns}
        for story in stories:
            first = -round(world.months * 30.44) + 20 + 11 * int(story.tag[1:])
            for days in range(first, -25, CHECK_EVERY_DAYS):
                self._past_check(story, kilns[story.tag], days)
        self._check_under_way(kilns[UNDER_WAY_KILN])
        self._number()

    def _wears(self, point: Row) -> list[Row]:
        return [mode for mode in self.modes[point["component_kind"]] if mode["mechanism"] in WEAR]

    def _past_check(self, story: KilnStory, kiln: Row, days: int) -> None:
        """A check over two sittings: one while it runs, one in the opening after it."""
        running_at = next_slot(self.world.at(days, 8), 3, UPKEEP_HOURS)
        empty_at = story.time_for("empty", running_at + 20 * HOUR, 3, self.world.now - 24 * HOUR)
        if empty_at is None:
            return
        key = f"{story.tag} {days}"
        dice = self.world.dice("check", key)
        self.checks.append(
            {
                "number": key,
                "kiln": story.tag,
                "started_at": running_at,
                "started_by": "ilse",
                "completed_at": empty_at + 3 * HOUR,
            }
        )
        clocks = {"running": running_at, "open_empty": empty_at}
        for point, tag in points_of(kiln, self.world.components_of(story.tag)):
            state = point["seen_in"] if point["seen_in"] != "either" else "running"
            clocks[state] += timedelta(minutes=2)
            self._finding(key, story.tag, kiln, point, tag, state, clocks[state], dice)

    def _finding(
        self, key: str, tag: str, kiln: Row, point: Row, component: str, state: str, at: datetime, dice: random.Random
    ) -> None:
        row: Row = {
            "check": key,
            "point": point["code"],
            "component": component,
            "kiln_state": state,
            "result": "sound",
            "at": at,
            "by": "ilse" if state == "running" else "per",
        }
        if point["component_kind"] == "inner-skin" and kiln["is_inner_skin_visible"] == "no":
            row |= {"result": "not_seen", "reason": "The inner skin is clad"}
        elif component and point["blocks_entry"] != "yes" and (chance := dice.random()) < 0.1 and self._wears(point):
            mode = dice.choice(self._wears(point))
            row |= {"result": "worn", "note": "Lasts until the next check", "failure_mode": mode["code"]}
            if chance < 0.012:
                row |= {"result": "defect", "note": ""}
                self._defect(row, tag, mode, cured=at + timedelta(days=dice.randint(2, 12)))
        self.findings.append(row)

    def _defect(self, finding: Row, kiln: str, mode: Row, cured: datetime | None, cost: int = 20) -> None:
        self.defects.append(
            {
                "kiln": kiln,
                "component": finding["component"],
                "failure_mode": mode["code"],
                "found_at": finding["at"],
                "found_by": finding["by"],
                "what": mode["name"][0].upper() + mode["name"][1:],
                "consequence": mode["consequence"],
                "likelihood": "later" if cured else "soon",
                "cost_of_delay_per_day": cost,
                "is_safety": False,
                "blocks_entry": False,
                "mended_at": cured if cured is None or cured < self.world.now else None,
                "check": finding["check"],
                "point": finding["point"],
            }
        )

    def _check_under_way(self, kiln: Row) -> None:
        """The sitting while it ran is done, the one in the open kiln half done."""
        opens, _ = laid_opening(self.world, UNDER_WAY_KILN)
        started = opens.astimezone(ZONE).replace(hour=8, minute=30) - timedelta(days=UNDER_WAY_DAYS_BEFORE)
        key = f"{UNDER_WAY_KILN} now"
        self.checks.append({"number": key, "kiln": UNDER_WAY_KILN, "started_at": started, "started_by": "ilse"})
        points = points_of(kiln, self.world.components_of(UNDER_WAY_KILN))
        inside = [one for one in points if one[0]["seen_in"] == "open_empty"]
        clocks = {"running": started, "open_empty": opens + HOUR}
        for point, tag in [one for one in points if one not in inside] + inside[: len(inside) // 2]:
            state = "open_empty" if point["seen_in"] == "open_empty" else "running"
            clocks[state] += timedelta(minutes=2)
            row: Row = {
                "check": key,
                "point": point["code"],
                "component": tag,
                "kiln_state": state,
                "result": "sound",
                "at": clocks[state],
                "by": "ilse" if state == "running" else "per",
            }
            if (tag, point["code"]) == UNDER_WAY_DEFECT[:2]:
                mode = next(mode for mode in self.modes["exhaust-flap"] if mode["code"] == UNDER_WAY_DEFECT[2])
                row |= {"result": "defect", "failure_mode": mode["code"], "note": "Stays a third open, left side"}
                self._defect(row, UNDER_WAY_KILN, mode, cured=None, cost=85)
            elif point["code"] == "door-seal-seam":
                row |= {"result": "worn", "note": "A breath of steam at the upper corner"}
            self.findings.append(row)

    def _number(self) -> None:
        self.checks.sort(key=lambda row: (row["started_at"], row["kiln"]))
        numbers = {row["number"]: f"FC-{number:04d}" for number, row in enumerate(self.checks, start=1)}
        for row in self.checks:
            row["number"] = numbers[row["number"]]
        for row in [*self.findings, *self.defects]:
            row["check"] = numbers[row["check"]]
        self.findings.sort(key=lambda row: (row["at"], row["check"], row["point"], row["component"]))

    def defect_rows(self) -> list[Row]:
        """Return those found in checks and those somebody came across."""
        others = []
        for row in read_static("defects"):
            day, _, clock = row["found_at"].partition(" ")
            hour, minute = clock.split(":")
            others.append(row | {"found_at": self.world.at(int(day[1:]), int(hour) + int(minute) / 60)})
        return sorted([*self.defects, *others], key=lambda row: (row["found_at"], row["kiln"]))
