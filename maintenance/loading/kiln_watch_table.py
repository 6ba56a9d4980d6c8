"""The file of the watches that a mill's kilns have: those that ship, as they were set up, and the mill's own."""

from collections.abc import Mapping
from typing import Any

from maintenance.loading.base import KILN, Load, Row, Table
from maintenance.loading.columns import Choice, Code, Flag, Moment, Ref, Refs, Text, Whole, split_list
from maintenance.loading.faults import CellFault
from maintenance.models import Watch
from maintenance.watches.calculations.rows import check, parameters_from_text, rule_from, rule_parameters
from maintenance.watches.specs import spec_of
from plant import clock
from plant.basics.periods import to_epoch_s


class KilnWatchTable(Table):
    """Watches of kilns."""

    name = "kiln_watches"
    meaning = (
        "The watches of each kiln: those that ship, switched on or off, and the mill's own with their numbers. They "
        "look from now on. A known watch stays as it is: change it on its page."
    )
    model = Watch
    act = "set watches"
    key = ("kiln", "code")
    is_record = True
    columns = (
        KILN,
        Code("code", "code, once per kiln", "own-wick", is_required=True, largest=60),
        Text("name", "what it is called", "Wick, closer", is_required=True, largest=120),
        Text("signal", "what it looks at", "wet_bulb:left", is_required=True, largest=80),
        Text("rule", "by which rule", "limit", is_required=True, largest=30),
        Text("parameters", "the numbers of the rule", "side=above; limit=90; clear=80", largest=1000),
        Text("phases", "phases in which it looks; semicolons between; empty: all", "drying", largest=200),
        Choice("severity", "notice or work_order", "notice", is_required=True, options=Watch.Severity),
        Ref("component_kind", "kind of component that it suspects (catalogue)", "", to="component_kind"),
        Ref("component", "tag of the component that it suspects", "", to="component"),
        Refs("failure_modes", "what it suspects, the likeliest first (catalogue)", "", to="failure_mode"),
        Ref("sheet", "code of the task sheet of its work", "", to="sheet"),
        Text("sentence", "what it says", "The wick may be dry.", is_required=True, largest=10_000),
        Text("loss_kind", "kind of loss", "", largest=40),
        Whole("due_days", "days until its work is due", "7", default=7),
        Whole("safety_days", "days until the safety date", ""),
        Whole("agrees_within_days", "days within which a second watch agrees", "14", default=14),
        Flag("is_shipped", "does it ship with the software?", "no", default=False),
        Flag("is_on", "is it switched on?", "no", default=False),
        Moment("switched_on_at", "since when", ""),
        Text("source", "where its numbers come from", "", largest=300),
        Text("source_status", "how sure that is", "", largest=120),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Read the watch as a whole: the rule, its numbers and the sentence must fit together."""
        v = row.values
        try:
            v["parameters"] = rule_parameters(rule_from(v["rule"], parameters_from_text(v["parameters"])))
            check(spec_of(Watch(**self.fields(row, load))))
        except ValueError as refusal:
            raise CellFault(str(refusal), "Correct the row.", "rule") from None

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Keep lists as the model does, and let it look from now on."""
        v = row.values
        return super().fields(row, load) | {
            "phases": split_list(v["phases"]),
            "failure_modes": [mode.code for mode in v["failure_modes"]],
            "looked_until_s": to_epoch_s(clock.now()) // 60 * 60 if v["is_on"] else None,
        }


def told_parameters(parameters: Mapping[str, Any]) -> str:
    """Return a rule's numbers as they stand in a cell."""
    told = {name: " ".join(map(str, one)) if isinstance(one, list) else one for name, one in parameters.items()}
    return "; ".join(f"{name}={value}" for name, value in told.items())
