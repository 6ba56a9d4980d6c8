"""What is said of when work recurs; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from plant.frame.saying import Patterns

PARTS: Final[Patterns] = {
    "recur.january": _("January"),
    "recur.february": _("February"),
    "recur.march": _("March"),
    "recur.april": _("April"),
    "recur.may": _("May"),
    "recur.june": _("June"),
    "recur.july": _("July"),
    "recur.august": _("August"),
    "recur.september": _("September"),
    "recur.october": _("October"),
    "recur.november": _("November"),
    "recur.december": _("December"),
    "recur.monday": _("Monday"),
    "recur.tuesday": _("Tuesday"),
    "recur.wednesday": _("Wednesday"),
    "recur.thursday": _("Thursday"),
    "recur.friday": _("Friday"),
    "recur.saturday": _("Saturday"),
    "recur.sunday": _("Sunday"),
    "recur.st": _("%(number)sst"),
    "recur.nd": _("%(number)snd"),
    "recur.rd": _("%(number)srd"),
    "recur.th": _("%(number)sth"),
    "recur.last": _("last"),
    "recur.to_last": _("%(nth)s to last"),
    "recur.number": _("%(number)s"),
    "recur.and": _("%(first)s and %(last)s"),
    "recur.or": _("%(first)s or %(last)s"),
    "recur.comma": _("%(first)s, %(then)s"),
    "recur.after": _("%(first)s %(then)s"),
    "recur.hours": _("%(amount_h)s"),
    "recur.charges": ngettext_lazy("%(count)s charge", "%(count)s charges", "count"),
    "recur.charges_and_parts": _("%(amount)s charges"),
}

RULES: Final[Patterns] = {
    "recur.every_day": ngettext_lazy("every day", "every %(count)s days", "count"),
    "recur.every_week": ngettext_lazy("every week", "every %(count)s weeks", "count"),
    "recur.every_month": ngettext_lazy("every month", "every %(count)s months", "count"),
    "recur.every_year": ngettext_lazy("every year", "every %(count)s years", "count"),
    "recur.every_charge": _("every charge"),
    "recur.every_so_many": _("every %(amount)s"),
    "recur.every_hours": _("every %(amount)s of running"),
    "recur.whichever_first": _("%(limits)s, whichever comes first"),
    "recur.on_last_day": _("on the last day where the %(nth)s does not exist"),
    "recur.leaving_out": _("leaving out the month where the %(nth)s does not exist"),
    "recur.on_first_of_next": _("on the first day of the next month where the %(nth)s does not exist"),
    "recur.in": _("in %(months)s"),
    "recur.in_week": _("in week %(weeks)s"),
    "recur.on_days_of_year": _("on the %(days)s day of the year"),
    "recur.the_nth": _("the %(nth)s"),
    "recur.the_nth_of_days": _("the %(nth)s day"),
    "recur.the_nth_day": _("the %(nth)s %(day)s"),
    "recur.on": _("on %(days)s"),
    "recur.on_of_month": _("on %(days)s of the month"),
    "recur.on_each_day": _("on each of its days"),
    "recur.on_day_of_month": _("on %(day)s %(month)s"),
    "recur.where_it_is": _("where it is a %(days)s"),
    "recur.short_months_left_out": _("(months without it are left out)"),
    "recur.other_years_left_out": _("(other years are left out)"),
    "recur.months_without_left_out": _("(months without a %(nth)s are left out)"),
    "recur.picked": _("and of these only the %(picked)s %(in_each)s"),
    "recur.in_each_day": _("in each day"),
    "recur.in_each_week": _("in each week"),
    "recur.in_each_month": _("in each month"),
    "recur.in_each_year": _("in each year"),
    "recur.weeks_begin": _("weeks beginning on %(day)s"),
    "recur.times": ngettext_lazy("once", "%(count)s times in all", "count"),
    "recur.until": _("until %(until_on)s"),
}

REASONS: Final[Patterns] = {
    "recur.calendar_first": _("The calendar comes first."),
    "recur.running_hours_first": _("The running hours come first."),
    "recur.charges_first": _("The charges come first."),
    "recur.by_calendar": _("By the calendar"),
    "recur.by_running_hours": _("By running hours"),
    "recur.by_charges": _("By charges"),
    "recur.other": _("%(by)s it would be %(would_be_on)s."),
    "recur.other_without_date": _("%(by)s: %(reason)s"),
    "recur.never_done": _("Never done so far: the first date of the series."),
    "recur.once_now": _("Never done as far as is known: once now, for all dates before %(before_on)s."),
    "recur.never_done_known": _("Never done as far as is known: %(reason)s"),
    "recur.after_withdrawn": _("The work that was due on %(passed_on)s was withdrawn: the next date after it."),
    "recur.moved": _("It was moved from %(from_on)s (%(why)s)."),
    "recur.skipped": _("What was due on %(skipped_on)s is skipped (%(why)s)."),
    "recur.ended": _("The rule has ended, no date follows."),
    "recur.counted_from": _("Counted from the work done on %(done_on)s: %(rule)s."),
    "recur.was_early": _(
        "Due %(rule)s; the work of %(done_on)s was before its window round %(window_on)s, so the dates stay."
    ),
    "recur.was_inside": _(
        "Due %(rule)s; the work of %(done_on)s lay inside its window round %(window_on)s, so the dates stay."
    ),
    "recur.was_late": _(
        "Due %(rule)s; the work of %(done_on)s was after its window round %(window_on)s, so the dates stay."
    ),
    "recur.reached": _("%(allowed)s were reached about %(reached_on)s: %(used)s used."),
    "recur.left": _("%(left)s of %(allowed)s left"),
    "recur.stands_still": _("%(left)s; the meter stands still, so no date can be told."),
    "recur.no_date": _("%(left)s; no date can be told (%(why)s)."),
    "recur.by_forecast": _("%(left)s, %(why)s."),
    "recur.too_far": _("too far away"),
    "recur.first_then": _("%(first)s, then %(then)s"),
    "recur.no_readings": _("no readings"),
    "recur.no_rate": _("no rate: a single reading and no planned charge"),
    "recur.planned_charges": ngettext_lazy(
        "from the %(count)s planned charge to %(until_on)s",
        "from the %(count)s planned charges to %(until_on)s",
        "count",
    ),
    "recur.planned_charge_named": ngettext_lazy(
        "from the %(count)s planned charge (%(name)s) to %(until_on)s",
        "from the %(count)s planned charges (%(name)s) to %(until_on)s",
        "count",
    ),
    "recur.planned_charges_named": ngettext_lazy(
        "from the %(count)s planned charge (%(first)s to %(last)s) to %(until_on)s",
        "from the %(count)s planned charges (%(first)s to %(last)s) to %(until_on)s",
        "count",
    ),
    "recur.rate_of_readings": _("at %(rate)s, the mean of the readings from %(first_on)s to %(last_on)s"),
    "recur.rate_of_programme": _("at %(rate)s, the mean of the planned charges"),
    "recur.charges_in_30_days": _("%(amount)s charges in 30 days"),
    "recur.amount_a_day": _("%(amount)s a day"),
    "recur.lower_reading": _(
        "The reading of %(read_on)s (%(reading)s) is lower than the one before (%(before)s): taken as a new meter that "
        "began at 0. Enter the exchange, or correct the reading."
    ),
}

PRACTICES: Final[Patterns] = {
    "recur.always_anchored": _("The dates stay where they are, whenever the work was done."),
    "recur.always_from_completion": _("The next date is counted from the day the work was done."),
    "recur.anchored_inside_window": _(
        "Done inside the window the dates stay; done before or after it, the next is counted from the work."
    ),
    "recur.early_from_completion": _(
        "Done inside the window or late the dates stay; done too early, the next is counted from the work."
    ),
}

PATTERNS: Final[Patterns] = {**PARTS, **RULES, **REASONS, **PRACTICES}
