"""The mill of the walk at the door: six people, two kilns, and what the walk itself knows of each door."""

from maintenance.checks import checks
from maintenance.models import FunctionCheck
from plant.models import Kiln, User
from tests.factories import CheckPointFactory, ComponentFactory, KilnFactory, WorkOrderFactory
from tests.maintenance.mill import a_user

TAGS = ("K1", "K2")
ROLES = {
    "ilse": "kiln_master",
    "pia": "planner",
    "oda": "technician",
    "per": "technician",
    "una": "technician",
    "max": "storekeeper",
}


class Mill:
    """The mill as it is before each walk: two stopped kilns, jobs of each sort, a function check each."""

    def __init__(self) -> None:
        self.users: dict[str, User] = {}
        for code, role in ROLES.items():
            self.users[code] = a_user(role, code)
        CheckPointFactory()
        CheckPointFactory(code="fans-run", what="All fans run", seen_in="running")
        self.kilns: dict[str, Kiln] = {tag: KilnFactory(tag=tag) for tag in TAGS}
        self.jobs: dict[str, list[int]] = {}
        self.checks: dict[str, FunctionCheck] = {}
        for tag, kiln in self.kilns.items():
            ComponentFactory(kiln=kiln)
            self.jobs[tag] = [
                WorkOrderFactory(number=f"{tag}-{n}", kiln=kiln, needs_state=state).pk
                for n, state in enumerate(("running", "running", "empty", "empty", "still"))
            ]
            self.checks[tag] = checks.start_check(kiln, by=self.users["ilse"])


class Door:
    """What the walk itself knows of one kiln."""

    def __init__(self) -> None:
        self.is_open = False
        self.inside: set[str] = set()
        self.locks: set[str] = set()
        self.outside = ""
