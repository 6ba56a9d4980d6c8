"""What the crew of the demo mill has told of its charges by now: each event of the day that has happened."""

from datetime import date, datetime, timedelta
from uuid import uuid4

from plant import clock
from plant.access import Role
from plant.charges.telling import What, tell
from plant.models import Charge, ChargeWord, Mill, Phase, User


def tell_charges(day: date) -> list[ChargeWord]:
    """Tell what was started, opened and unloaded on the demo's day up to now."""
    begin_at = clock.start_of_day(day, Mill.objects.current().zone)
    master = User.objects.filter(roles_held__role=Role.KILN_MASTER).first()
    until_at = min(clock.now(), begin_at + timedelta(days=1))
    events: list[tuple[datetime, int, str]] = []
    running = Phase.objects.filter(charge__basis=Charge.Basis.RUNNING)
    for charge_id, kind, start_at, end_at in running.values_list("charge_id", "kind", "begin_at", "end_at"):
        if kind == Phase.Kind.LOADING:
            events.append((end_at, charge_id, What.STARTED))
        elif kind == Phase.Kind.UNLOADING:
            events += [(start_at, charge_id, What.OPENED), (end_at, charge_id, What.UNLOADED)]
    happened = sorted(event for event in events if begin_at <= event[0] <= until_at)
    return [
        tell(Charge.objects.get(pk=charge_id), what, at, key=uuid4(), by=master) for at, charge_id, what in happened
    ]
