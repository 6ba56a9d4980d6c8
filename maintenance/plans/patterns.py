"""What plans and places say; ``plant.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from plant.frame.saying import Patterns

MISSED: Final[Patterns] = {
    "missed.pin": _("%(job)s keeps the place that it was given by hand. To move it, let it move again first."),
    "missed.after": _("It waits for %(job)s, which is not done in time. Place that job first."),
    "missed.crowd": ngettext_lazy(
        "%(count)s person would be inside %(kiln)s; %(most)s are allowed. Take a smaller crew.",
        "%(count)s people would be inside %(kiln)s; %(most)s are allowed. Take a smaller crew.",
        "count",
    ),
    "missed.skill": ngettext_lazy(
        "It needs %(needed)s qualified for %(skill)s; from %(start_on)s on, when it may start, %(count)s is.",
        "It needs %(needed)s qualified for %(skill)s; from %(start_on)s on, when it may start, %(count)s are.",
        "count",
    ),
    "missed.skill_ended": _("That of %(person)s lasts until %(until_on)s. Renew it."),
    "missed.skill_train": _("Train somebody for it."),
    "missed.hours": _(
        "It needs %(needed_min)s without a break; the longest shift has %(longest_min)s. Ask for it as several jobs "
        "that each fit a shift, or put people on longer shifts."
    ),
    "missed.nobody_locks_out": _(
        "Nobody on record may lock %(kiln)s out. Enter that qualification for those who have it."
    ),
    "missed.short": _("Too short: it needs %(needed_min)s, and has %(has_min)s. Lengthen it, or split the job."),
    "missed.parts": _("Over too early: its parts are there on %(start_at)s. Bring the parts forward."),
    "missed.earliest": _(
        "Over too early: it may start on %(start_at)s. Let it start earlier, or extend the charge programme."
    ),
    "missed.safety": _("It would end after its safety date, %(latest_at)s."),
    "missed.shift": _(
        "No crew is on shift for %(needed_min)s (%(skills)s). Put people with these skills on shift then."
    ),
    "missed.lock_out": _(
        "Nobody who may lock %(kiln)s out is on shift and free in time. Put somebody who may on shift before it."
    ),
    "missed.booked": _(
        "Everybody with its skills (%(skills)s) has other work or is away. Free somebody, or let another job move."
    ),
    "missed.full": _(
        "As many people as may be are inside %(kiln)s, or it is locked out too late. Take a smaller crew, or let "
        "another job move."
    ),
    "missed.nearest": _("Nearest: %(start_at)s to %(end_at)s."),
    "missed.no_opening": _("No opening of %(kiln)s is known. Extend the charge programme, or stop the kiln."),
    "missed.no_running": _("No running phase of %(kiln)s is known. Extend the charge programme."),
    "missed.no_standstill": _(
        "No stop or opening of %(kiln)s is known. Extend the charge programme, or stop the kiln."
    ),
}

PATTERNS: Final[Patterns] = {**MISSED}
