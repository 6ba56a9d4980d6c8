"""What everybody who goes into a chamber is told at its door."""

from typing import Any

from django import template

from maintenance.entry.bars import door_words_of
from maintenance.entry.permits import running_faults
from plant import clock
from plant.kilns.kilns_now import kilns_now
from plant.models import Kiln
from plant.warnings.running_bars import running_bars, say_bar

register = template.Library()


@register.inclusion_tag("entry/_door_words.html", takes_context=True)
def door_words(context: dict[str, Any], kiln: Kiln) -> dict[str, Any]:
    """{% door_words kiln %}: overdue proof tests of ways out, and who was let in despite a bar, by name and time."""
    return {"words": door_words_of(kiln), "user": context.get("user")}


@register.inclusion_tag("entry/_runs_now.html", takes_context=True)
def runs_now(context: dict[str, Any], kiln: Kiln) -> dict[str, Any]:
    """{% runs_now kiln %}: what speaks for its running, said before anybody fills in what must be so at its door."""
    faults = running_faults(kiln, "", context["user"])
    due = kilns_now([kiln], clock.now())[0].due_charge if faults else None
    return {"kiln": kiln, "faults": faults, "due": due, "user": context["user"]}


@register.inclusion_tag("entry/_must_not_run.html")
def must_not_run(kiln: Kiln) -> dict[str, Any]:
    """{% must_not_run kiln %}: who is inside, said before anybody fills in what starts only at a running kiln."""
    bar = running_bars([kiln]).get(kiln.pk)
    return {"kiln": kiln, "bar": bar, "said": say_bar(kiln, bar) if bar else ""}
