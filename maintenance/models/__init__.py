"""Models of upkeep, by subject."""

from maintenance.models.alarms import EntryAlarm
from maintenance.models.bars import LetIn
from maintenance.models.catalogue import Caution, CheckPoint, StandingDefault, TaskPart, TaskSheet, TaskSkill, TaskStep
from maintenance.models.checks import CheckItem, Defect, Finding, FunctionCheck, ProofTest, Sitting, TakenBack
from maintenance.models.entry import EntryMove, EntryPermit
from maintenance.models.files import FilesBrought
from maintenance.models.plans import KilnStop, PlaceLook, PlacingAct, Plan
from maintenance.models.pricing import PriceOfWaiting
from maintenance.models.standing import ChangedDate, DayRun, MissedOccurrence, StandingTask
from maintenance.models.telling import CalendarAddress, Telling, TellingLook, ToldLockOut, ToldPlace
from maintenance.models.versions import PointVersion, SheetVersion
from maintenance.models.watches import ChamberTest, Firing, Watch
from maintenance.models.work import (
    Assignment,
    Labour,
    Placement,
    StepRecord,
    WorkOrder,
    WorkPart,
    WorkSkill,
    WorkStep,
)
