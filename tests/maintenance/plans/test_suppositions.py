"""What a plan supposes: put into the problem that was drawn, and into sentences; what makes no sense is refused."""

import json
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from inventory.models import Reservation
from maintenance.models import WorkOrder, WorkPart
from maintenance.placing.problem import problem_to_json
from maintenance.placing.reading import read_problem
from maintenance.plans.accepting import want_plan
from maintenance.plans.desk import load_desk
from maintenance.plans.drawing import Drawn, draw_problem
from maintenance.plans.places import pin
from maintenance.plans.placing_all import place_all
from maintenance.plans.suppositions import suppose
from maintenance.plans.working_out import work_out
from plant.models import Charge
from plant.templatetags.said import said as in_words
from tests.factories import (
    MONDAY,
    ChargeFactory,
    KilnFactory,
    PartFactory,
    PersonFactory,
    SupplierFactory,
    SupplierTermsFactory,
)
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def drawn() -> Drawn:
    return draw_problem(load_desk(NOW))


def supposed(*ones: dict[str, Any], of: Drawn | None = None) -> tuple[Drawn, tuple[str, ...]]:
    found, said = suppose(of or drawn(), ones)
    read_problem(json.dumps(problem_to_json(found.problem)).encode())
    return found, said


def starts(found: Drawn) -> list[int]:
    return [charge.start_min for charge in found.problem.kilns[0].charges]


def slip(charge: Charge, hours: float) -> dict[str, Any]:
    return {"kind": "charge_slips", "charge": charge.pk, "hours": hours}


def test_a_charge_that_slips_within_the_gap_delays_no_other() -> None:
    first, _second = programme()
    before = drawn()
    found, said = supposed(slip(first, 12), of=before)
    assert starts(found) == starts(before)
    assert found.problem.kilns[0].charges[0].length_min == before.problem.kilns[0].charges[0].length_min + 720
    assert in_words(said) == (f"Charge {first.number} of K1 takes 12 h longer. The openings behind it take that up.")


def test_a_charge_that_slips_past_the_gap_says_what_drying_that_loses() -> None:
    first, second = programme()
    before = drawn()
    kiln = replace(before.problem.kilns[0], drying_cents_per_hour=4000)
    # With the second charge the last of the horizon, what it waits is lost at the sentinel.
    sentinel = replace(kiln.charges[-1], start_min=kiln.charges[1].start_min + kiln.charges[1].length_min)
    kiln = replace(kiln, charges=(*kiln.charges[:-1], sentinel))
    before = replace(before, problem=replace(before.problem, kilns=(kiln,), horizon_min=sentinel.start_min))
    found, said = supposed(slip(first, 30), of=before)
    assert starts(found)[1] == starts(before)[1] + 6 * 60
    assert "loses drying worth 240" in in_words(said)
    assert in_words(supposed(slip(second, 2), of=before)[1]).startswith(
        f"Charge {second.number} of K1 takes 2 h longer."
    )


def test_somebody_who_is_away_has_the_time_as_such() -> None:
    programme()
    oda = on_shift()
    when = {"from": (NOW + timedelta(hours=2)).isoformat(), "until": (NOW + timedelta(days=2)).isoformat()}
    found, said = supposed({"kind": "away", "person": oda.pk, **when})
    assert (120, 2880) in found.problem.people[0].away
    assert in_words(said) == f"{oda.name} is away from Mon 2 Mar, 10:00 to Wed 4 Mar, 08:00."


def test_somebody_whose_skill_runs_out_is_away_in_both_parts() -> None:
    programme()
    oda = on_shift(until=(MONDAY + timedelta(days=10)).date())
    when = {"from": (NOW + timedelta(days=9)).isoformat(), "until": (NOW + timedelta(days=12)).isoformat()}
    found, _said = supposed({"kind": "away", "person": oda.pk, **when})
    assert len(found.problem.people) == 2
    assert all((9 * 1440, 12 * 1440) in one.away for one in found.problem.people)


def test_a_kiln_that_is_kept_opens_longer() -> None:
    programme()
    before = drawn()
    when = {"from": OPENING_FROM.isoformat(), "until": (OPENING_TO + timedelta(hours=6)).isoformat()}
    found, said = supposed({"kind": "kiln_kept", "kiln": Charge.objects.first().kiln_id, **when}, of=before)
    assert starts(found)[1] == starts(before)[1] + 6 * 60
    assert in_words(said).startswith(
        "K1 is kept for work from Fri 6 Mar, 07:00 to Sat 7 Mar, 13:00, and its charges wait."
    )


def _late_part(**changes: Any) -> tuple[WorkOrder, Any]:
    part = PartFactory(criticality="stops")
    SupplierTermsFactory(part=part, lead_time_days=Decimal(3), lead_time_sd_days=Decimal(0), supplier=SupplierFactory())
    order = job(**changes)
    claim = Reservation.objects.create(
        part=part, quantity=2, needed_on=order.due_at.date(), source=order.number, created_at=MONDAY
    )
    WorkPart.objects.create(work_order=order, part=part, quantity=2, reservation=claim)
    return order, part


def test_a_part_that_comes_late_holds_up_the_jobs_that_wait_for_it_and_no_other() -> None:
    programme()
    on_shift()
    order, part = _late_part()
    other = job(number="WO-OTHER")
    late_on = (MONDAY + timedelta(days=8)).date()
    found, said = supposed({"kind": "part_late", "part": part.pk, "arrives_on": late_on.isoformat()})
    parts = {one.ref: one.parts_min for one in found.problem.jobs}
    # It lies on the shelf the next morning.
    assert found.at(parts[order.number]) == MONDAY + timedelta(days=9, hours=-7)
    assert parts[other.number] == 0
    assert in_words(said).endswith("1 job waits for it.")
    with pytest.raises(ValidationError, match="anyway"):
        supposed({"kind": "part_late", "part": part.pk, "arrives_on": MONDAY.date().isoformat()})


def test_a_pin_that_does_not_hold_then_may_move_and_that_is_said() -> None:
    programme()
    oda, order = on_shift(), job()
    place_all(NOW)
    pin(order, by=None)
    assert drawn().problem.pinned == {order.number}
    when = {"from": OPENING_FROM.isoformat(), "until": (OPENING_TO + timedelta(days=3)).isoformat()}
    found, said = supposed({"kind": "away", "person": oda.pk, **when})
    assert found.problem.pinned == frozenset()
    assert in_words(said[-1]) == f"{order.number} keeps a place that does not hold then, and may move in this plan."


def _hour(start: int, end: int) -> dict[str, str]:
    return {"from": (NOW + timedelta(hours=start)).isoformat(), "until": (NOW + timedelta(hours=end)).isoformat()}


def test_what_is_over_unknown_or_far_away_is_refused_with_a_sentence() -> None:
    first, _second = programme()
    old = ChargeFactory(kiln=first.kiln, basis=Charge.Basis.DONE, begin_at=MONDAY - timedelta(days=9), days=4)
    oda, gone, part = on_shift(), PersonFactory(code="gone", is_active=False), PartFactory()
    other = KilnFactory(tag="K2", is_active=False)
    cases: list[tuple[dict[str, Any], str]] = [
        ({"kind": "storm"}, "cannot be supposed"),
        (slip(old, 5), "is over"),
        ({"kind": "charge_slips", "charge": 0, "hours": 2}, "not known"),
        ({"kind": "away", "person": 0, **_hour(1, 2)}, "not known"),
        ({"kind": "away", "person": gone.pk, **_hour(1, 2)}, "does not work here"),
        ({"kind": "away", "person": oda.pk, **_hour(-9, -2)}, "is over"),
        ({"kind": "away", "person": oda.pk, **_hour(24 * 300, 24 * 301)}, "behind the time"),
        ({"kind": "kiln_kept", "kiln": 0, **_hour(1, 2)}, "not in use"),
        ({"kind": "kiln_kept", "kiln": other.pk, **_hour(1, 2)}, "not in use"),
        ({"kind": "kiln_kept", "kiln": first.kiln_id, **_hour(1, 20)}, "a charge that has begun is in it until Fri 6"),
        ({"kind": "part_late", "part": 0, "arrives_on": "2026-03-20"}, "not known"),
        ({"kind": "part_late", "part": part.pk, "arrives_on": "2026-03-20"}, "No job waits"),
    ]
    found = drawn()
    for one, words in cases:
        with pytest.raises(ValidationError, match=words):
            supposed(one, of=found)


def test_a_plan_whose_supposition_is_over_when_its_turn_comes_says_so() -> None:
    first, _second = programme()
    plan = want_plan(seconds=10, suppositions=[slip(first, 5)], by=None)
    first.delete()
    assert work_out(plan.pk, lambda *_told: None)["state"] == "failed"
    plan.refresh_from_db()
    assert plan.failure == "The charge that is supposed to take longer is not known any more."
