"""What the planner's storey says where no room of its own says it; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from plant.frame.saying import Patterns

#: What the history calls what was done (``Change.act``).
ACTS: Final[Patterns] = {
    "act.accepted": _("accepted"),
    "act.alarm answered": _("alarm answered"),
    "act.alarm: reported running or hot with people in or at it": _(
        "alarm: reported running or hot with people in or at it"
    ),
    "act.an origin fell away": _("an origin fell away"),
    "act.barred to entry": _("barred to entry"),
    "act.brought forward": _("brought forward"),
    "act.brought up to date": _("brought up to date"),
    "act.calendar address made": _("calendar address made"),
    "act.calendar address revoked": _("calendar address revoked"),
    "act.carried on": _("carried on"),
    "act.changed by a file": _("changed by a file"),
    "act.closed for entry with an incomplete list": _("closed for entry with an incomplete list"),
    "act.completed": _("completed"),
    "act.copied": _("copied"),
    "act.cost of delay changed": _("cost of delay changed"),
    "act.defect that barred entry is mended": _("defect that barred entry is mended"),
    "act.defect that barred entry is struck": _("defect that barred entry is struck"),
    "act.demo mill set up": _("demo mill set up"),
    "act.done": _("done"),
    "act.entry taken back": _("entry taken back"),
    "act.everybody is out": _("everybody is out"),
    "act.files loaded": _("files loaded"),
    "act.finding corrected": _("finding corrected"),
    "act.finding decided": _("finding decided"),
    "act.finding differs": _("finding differs"),
    "act.finding taken back": _("finding taken back"),
    "act.found again": _("found again"),
    "act.joined": _("joined"),
    "act.joined a work order": _("joined a work order"),
    "act.judged": _("judged"),
    "act.kept at its place": _("kept at its place"),
    "act.let in despite a bar": _("let in despite a bar"),
    "act.lost its place": _("lost its place"),
    "act.made a defect": _("made a defect"),
    "act.made a work order": _("made a work order"),
    "act.may be moved again": _("may be moved again"),
    "act.mended": _("mended"),
    "act.not fit to be in by what was measured": _("not fit to be in by what was measured"),
    "act.occurrence withdrawn": _("occurrence withdrawn"),
    "act.opened for entry": _("opened for entry"),
    "act.part taken": _("part taken"),
    "act.parts gone": _("parts gone"),
    "act.paused": _("paused"),
    "act.placed": _("placed"),
    "act.price of waiting worked out": _("price of waiting worked out"),
    "act.put back into the plan": _("put back into the plan"),
    "act.raised": _("raised"),
    "act.recorded": _("recorded"),
    "act.recurs again": _("recurs again"),
    "act.relieved at the door": _("relieved at the door"),
    "act.sent back": _("sent back"),
    "act.set_aside": _("set aside"),
    "act.signed off": _("signed off"),
    "act.sitting ended": _("sitting ended"),
    "act.sitting started": _("sitting started"),
    "act.started": _("started"),
    "act.step": _("step"),
    "act.stop it caused": _("stop it caused"),
    "act.stop it ended": _("stop it ended"),
    "act.struck as a mistake": _("struck as a mistake"),
    "act.switched off": _("switched off"),
    "act.switched on": _("switched on"),
    "act.taken out of the plan": _("taken out of the plan"),
    "act.tested": _("tested"),
    "act.time": _("time"),
    "act.watch spoke up": _("watch spoke up"),
    "act.withdrawn": _("withdrawn"),
    "act.withdrawn from recurring": _("withdrawn from recurring"),
}

#: The day's run, proof tests, and what work waits for.
WORK: Final[Patterns] = {
    "alarm.charge_begun": _("charge %(charge)s is reported begun at %(begin_at)s"),
    "alarm.able_to_run": _("it is reported able to run: %(kind)s"),
    "alarm.readings_over": _("the readings say so no longer"),
    "alarm.charge_over": _("by the record no charge runs any more"),
    "raised.not_kept": _("Not kept in the stores, see to it yourself: %(parts)s."),
    "raised.joined": _("Joined by: %(why)s"),
    "raised.task_due": _("%(task)s, due %(due_on)s."),
    "raised.elsewhere": _("%(component)s is done with %(job)s."),
    "raised.found": _("Found: %(what)s."),
    "raised.barred": _("Nobody may enter the chamber until it is mended."),
    "raised.no_defect": _("%(what)s is no defect: %(why)s The work is still asked for."),
    "raised.points": ngettext_lazy(
        "%(check)s: %(count)s point is left. Reckoned are %(each_min)s a point, at least %(least_min)s; that is our "
        "own choice.",
        "%(check)s: %(count)s points are left. Reckoned are %(each_min)s a point, at least %(least_min)s; that is our "
        "own choice.",
        "count",
    ),
    "raised.retest": _(
        "%(job)s mended what keeps people out. This test proves the repair and puts a new seal on record: nobody may "
        "enter until it is passed and signed off."
    ),
    "parts.gone": _("Reserved for this and gone: it waits for %(amount)s %(part)s."),
    "task.done": _("Done as %(job)s."),
    "task.withdrawn": _("%(job)s was withdrawn: its date counts as dealt with. %(why)s"),
    "day.placed": ngettext_lazy(
        "%(count)s job placed (%(fresh)s new, %(moved)s moved), %(without)s without a place.",
        "%(count)s jobs placed (%(fresh)s new, %(moved)s moved), %(without)s without a place.",
        "count",
    ),
    "day.more_cleared": ngettext_lazy(
        "%(count)s further place no longer held.",
        "%(count)s further places no longer held.",
        "count",
    ),
    "day.left_out": ngettext_lazy(
        "%(count)s job is left out of the plan by hand.",
        "%(count)s jobs are left out of the plan by hand.",
        "count",
    ),
    "day.raised": ngettext_lazy(
        "%(count)s work order raised%(numbers)s; further dates within the horizon: %(following)s.",
        "%(count)s work orders raised%(numbers)s; further dates within the horizon: %(following)s.",
        "count",
    ),
    "day.missed": ngettext_lazy(
        "%(count)s date passed without work and was recorded; its task has one catch-up.",
        "%(count)s dates passed without work and were recorded; each task has one catch-up.",
        "count",
    ),
    "day.waiting_for_parts": ngettext_lazy(
        "%(count)s job waits for parts",
        "%(count)s jobs wait for parts",
        "count",
    ),
    "day.to_order": ngettext_lazy(
        "%(count)s part should be ordered today",
        "%(count)s parts should be ordered today",
        "count",
    ),
    "day.short": _("%(clauses)s."),
    "day.not_followed": _("The recurring task %(task)s cannot be followed: %(why)s"),
    "day.pin_lost": _("%(job)s on %(kiln)s: %(why)s Keep it anew, or let it move."),
    "proof.due": _("%(what)s (%(due_on)s)"),
    "proof.failed": _("Failed its last proof test and was not tried again: %(components)s."),
    "proof.overdue": _("Proof test overdue: %(components)s."),
    "proof.never": _("No proof test is on record: %(components)s."),
    "proof.soon": _("Proof test due soon: %(components)s."),
    "supply.waits": _("Waits for %(parts)s."),
    "supply.all_there": _("All parts are on hand."),
    "supply.order_by": ngettext_lazy(
        "%(part)s must be ordered by %(by_on)s: there within %(count)s day.",
        "%(part)s must be ordered by %(by_on)s: there within %(count)s days.",
        "count",
    ),
    "supply.order_today": ngettext_lazy(
        "%(part)s must be ordered by today, %(by_on)s: there within %(count)s day.",
        "%(part)s must be ordered by today, %(by_on)s: there within %(count)s days.",
        "count",
    ),
    "supply.order_late": ngettext_lazy(
        "%(part)s should have been ordered by %(by_on)s: there within %(count)s day. Order it now.",
        "%(part)s should have been ordered by %(by_on)s: there within %(count)s days. Order it now.",
        "count",
    ),
    "supply.late": _("%(part)s is on order and late since %(due_on)s."),
    "supply.on_order": _("%(part)s is on order, due %(due_on)s."),
    "supply.unknown": _("%(part)s is not on the shelf, and nobody is known who delivers it."),
}

PATTERNS: Final[Patterns] = {
    **ACTS,
    **WORK,
    "day.what_recurs": _("what recurs"),
    "day.parts": _("parts on hand"),
    "day.places": _("places"),
    "day.orders": _("what to order"),
    "day.prices": _("what waiting costs"),
    "day.late": _("what is late"),
    "day.no_mill": _("No mill is loaded yet: load a mill's files first."),
    "plan.gathering": _("gathering jobs, charges and people"),
    "plan.gone": _("The plan is not kept any more."),
    "trial.watch_gone": _("The watch is not there any more."),
}
