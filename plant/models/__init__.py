"""Models of the plant, by subject."""

from plant.models.background import Heartbeat, Job, JobAttempt
from plant.models.charge_claims import ChargeClaim
from plant.models.charges import Charge, ChargeWord, Downtime, Phase
from plant.models.climate_signs import ClimateSign
from plant.models.kept_forms import KeptForm
from plant.models.kilns import Component, ComponentKind, FailureMode, Fitting, Kiln, MeterReading
from plant.models.ledger import Change
from plant.models.mill import Mill, NumberSeries
from plant.models.people import (
    Absence,
    DayOff,
    Person,
    Qualification,
    RoleHeld,
    Shift,
    ShiftDuty,
    Skill,
    User,
)
from plant.models.readings import (
    Channel,
    ChannelDay,
    ChannelName,
    ChargeFigure,
    FileIntake,
    Reading,
    ReadingSource,
    SourceToken,
    Unsettled,
)
