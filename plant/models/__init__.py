"""Models of the plant, by subject."""

from plant.models.background import Heartbeat, Job, JobAttempt
from plant.models.charges import Charge, Downtime, Phase
from plant.models.kilns import Component, ComponentKind, FailureMode, Fitting, Kiln, MeterReading
from plant.models.ledger import Change
from plant.models.mill import Mill, NumberSeries
from plant.models.people import Absence, Person, Qualification, RoleHeld, Shift, ShiftDuty, Skill, User

__all__ = [
    "Absence",
    "Change",
    "Charge",
    "Component",
    "ComponentKind",
    "Downtime",
    "FailureMode",
    "Fitting",
    "Heartbeat",
    "Job",
    "JobAttempt",
    "Kiln",
    "MeterReading",
    "Mill",
    "NumberSeries",
    "Person",
    "Phase",
    "Qualification",
    "RoleHeld",
    "Shift",
    "ShiftDuty",
    "Skill",
    "User",
]
