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
    "missed.nobody_locks_out": _("Nobody on record may lock %(kiln)s out. Enter that skill for those who have it."),
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

BROKEN: Final[Patterns] = {
    "broken.no_kiln": _("There is no such kiln as %(what)s."),
    "broken.starts": _("%(what)s has %(starts)s starts for %(charges)s charges."),
    "broken.charge_start": _("%(what)s starts at %(start_at)s, not between %(from_at)s and %(to_at)s."),
    "broken.charge_order": _("%(what)s starts before the charge before it has ended."),
    "broken.no_such_kiln": _("%(what)s: there is no such kiln as %(kiln)s."),
    "broken.stop_nowhere": _(
        "%(what)s is neither before a charge, nor in one, nor in a down time, or in more than one of them."
    ),
    "broken.no_such_place": _("%(what)s: there is no such opening or charge as %(number)s."),
    "broken.second_stop": _("%(what)s is the second one there."),
    "broken.stop_short": _("%(what)s ends before it is set up and the kiln made ready again."),
    "broken.stop_past": _("%(what)s begins before now."),
    "broken.stop_phase": _("%(what)s does not begin in the drying phase of its charge."),
    "broken.stop_set_up": _("%(what)s begins before the kiln is locked out."),
    "broken.stop_early": _("%(what)s begins before the charge before it has ended."),
    "broken.stop_late": _("%(what)s ends after the next charge has started."),
    "broken.stop_waits": _("%(what)s ends after unloading begins at %(until_at)s."),
    "broken.stop_not_down": _("%(what)s does not begin while the kiln is down."),
    "broken.two_stops": _("%(what)s overlaps %(other)s."),
    "broken.yard_loading": _("%(what)s is loaded at %(start_at)s, outside the hours of the yard."),
    "broken.yard_unloading": _("%(what)s has cooled at %(cooled_at)s, and the yard has no hours to unload it."),
    "broken.no_person_or_shift": _("%(what)s: there is no such person as %(person)s or shift as %(shift)s."),
    "broken.may_not_lock_out": _("%(what)s: %(person)s may not lock out."),
    "broken.not_in_shift": _("%(what)s: %(person)s is not in the shift %(shift)s."),
    "broken.outside_shift": _("%(what)s does not begin within the shift %(shift)s."),
    "broken.after_overtime": _("%(what)s ends after the overtime of the shift %(shift)s."),
    "broken.no_job": _("There is no such job as %(what)s."),
    "broken.safety_left_out": _("%(what)s is a safety job and left out."),
    "broken.pin_left_out": _("%(what)s is kept at its place by hand and left out."),
    "broken.pin_moved": _("%(what)s is kept at its place by hand and was moved."),
    "broken.earliest": _("%(what)s may not start before %(earliest_at)s."),
    "broken.parts": _("%(what)s starts before its parts are there, %(parts_at)s."),
    "broken.horizon": _("%(what)s ends after the time that is planned."),
    "broken.safety_late": _("%(what)s ends after its safety date."),
    "broken.state_any": _("%(what)s needs no state and names a stop or a charge."),
    "broken.state_running": _("%(what)s needs a running kiln and names no charge, or a stop."),
    "broken.no_charge": _("%(what)s: there is no charge %(number)s."),
    "broken.state_stopped": _("%(what)s needs a stop and names none, or a charge."),
    "broken.no_stop": _("%(what)s: there is no stop %(number)s."),
    "broken.not_loaded": _("%(what)s starts before its charge is loaded."),
    "broken.cooling": _("%(what)s ends after its charge has begun to cool."),
    "broken.interrupted": _("%(what)s needs a running kiln and meets the interruption."),
    "broken.down": _("%(what)s needs a running kiln and lies where the kiln is down."),
    "broken.other_kiln": _("%(what)s is in a stop of another kiln."),
    "broken.not_empty": _("%(what)s needs an empty kiln and is in an interruption."),
    "broken.loaded": _("%(what)s needs an empty kiln and is in one that stands loaded."),
    "broken.set_up": _("%(what)s starts before the kiln is locked out."),
    "broken.restore": _("%(what)s leaves no time to make the kiln ready again."),
    "broken.no_shift": _("%(what)s: there is no such shift as %(shift)s."),
    "broken.crew": _("%(what)s has another crew than asked for."),
    "broken.twice": _("%(what)s has one person twice."),
    "broken.no_person": _("%(what)s: there is no such person as %(person)s."),
    "broken.no_skill": _("%(person)s has no skill %(skill)s."),
    "broken.after_left_out": _("%(what)s is placed although %(job)s is left out."),
    "broken.after": _("%(what)s does not wait for %(job)s."),
    "broken.two_places": _("%(person)s is at %(other)s from %(start_at)s, before %(job)s ends at %(end_at)s."),
    "broken.away": _("%(person)s is away."),
    "broken.inside": _("%(what)s: %(count)s people are inside at %(seen_at)s."),
    "broken.form": _("%(what)s is %(stated)s for a problem of form %(found)s."),
    "broken.stated": _("%(what)s is stated as %(stated)s and is %(found)s."),
    "broken.bound": _("%(what)s: %(bound)s is above the cost %(found)s."),
    "broken.bound_below": _("%(what)s is below 0."),
}

#: Clauses: what keeps a job from an earlier place.
CAUSES: Final[Patterns] = {
    "cause.left_out": _("%(job)s, for which it waits, is left out"),
    "cause.after": _("it waits for %(job)s until %(until_at)s"),
    "cause.parts": _("its parts arrive %(from_at)s"),
    "cause.earliest": _("it may not start before %(from_at)s"),
    "cause.skill": _("no crew with its skills (%(skills)s) is on shift"),
    "cause.booked": _("everybody with its skills (%(skills)s) has other work"),
    "cause.opening": _("no opening of kiln %(kiln)s has room, or nobody is free to lock it out"),
    "cause.not_running": _("kiln %(kiln)s is not running"),
    "cause.not_running_then": _("kiln %(kiln)s is not running then, as its charges now stand"),
    "cause.not_empty": _("kiln %(kiln)s is not open and empty for long enough"),
    "cause.not_stopped": _("kiln %(kiln)s is not stopped for long enough"),
    "cause.not_planned": _("it would end after the time that is planned"),
    "crew.some": _("%(number)s %(skill)s"),
    "skill.anybody": _("anybody"),
    "skill.lock_out": _("lock-out"),
}

HOPELESS: Final[Patterns] = {
    "hopeless.dates": _(
        "%(job)s cannot start before %(from_at)s and would have to end by %(latest_at)s. Bring its parts "
        "or what it waits for forward, or have whoever answers for it move its date: a safety date only where "
        "waiting is safe, and until then keep the kiln out of use."
    ),
    "hopeless.crowd": _(
        "%(job)s needs %(needed)s people inside kiln %(kiln)s, where %(most)s may be. Ask for a smaller crew, or for "
        "the work in parts."
    ),
    "hopeless.after": _("%(job)s waits for %(other)s, which has no place."),
    "hopeless.no_running": _("Kiln %(kiln)s has no running phase long enough for %(job)s by %(latest_at)s."),
    "hopeless.no_opening": _("Kiln %(kiln)s has no opening long enough for %(job)s by %(latest_at)s."),
    "hopeless.no_stop": _("Kiln %(kiln)s has no opening or stop long enough for %(job)s by %(latest_at)s."),
    "hopeless.no_time": _("There is no time long enough for %(job)s by %(latest_at)s."),
    "hopeless.nearest": _("The nearest one begins %(begin_at)s."),
    "hopeless.interrupt": _(
        "Bring a charge forward, interrupt the charge for %(price_cents)s, or have whoever answers for it move its "
        "date: a safety date only where waiting is safe, and until then keep the kiln out of use."
    ),
    "hopeless.crew": _(
        "No shift has the crew of %(job)s (%(skills)s) while kiln %(kiln)s is in the right state, by "
        "%(latest_at)s. Put people with these skills on shift then, or have whoever answers for it move "
        "its date: a safety date only where waiting is safe, and until then keep the kiln out of use."
    ),
    "hopeless.lock_out": _(
        "Nobody on shift may lock out kiln %(kiln)s in time for %(job)s. Put somebody with the skill "
        "lock-out on shift before it."
    ),
    "hopeless.together": _(
        "%(jobs)s must all be placed and cannot be at once: they need the same people, opening or times. "
        "Move the date of one, free people, or let one that keeps its place move."
    ),
    "hopeless.not_found": _(
        "In the time given no place was found for %(job)s, nor proof that there is none. Give more time."
    ),
    "hopeless.pin": _("%(job)s %(fault)s."),
}

PLACES: Final[Patterns] = {
    "plan.charge": _("charge %(number)s of %(kiln)s"),
    "plan.programme_end": _("the end of %(kiln)s's programme"),
    "plan.shift": _("from %(start_at)s to %(end_clock)s"),
    "plan.lock_out": _("the lock-out of %(kiln)s on %(begin_at)s"),
    "plan.itself": _("For %(what)s: it"),
    "place.grouped": _("Shares a lock-out with %(jobs)s."),
    "place.not_sooner": _("Not sooner: %(causes)s."),
    "place.none": _("Has no place: %(causes)s."),
    "place.dearer_sooner": _("On %(begin_at)s it would cost %(more_cents)s more with everything else held."),
    "place.soonest": _("As soon as it can be."),
    "place.others_dearer": _("Sooner would cost the other jobs more."),
    "place.before_safety": ngettext_lazy(
        "Done %(count)s day before its safety date.",
        "Done %(count)s days before its safety date.",
        "count",
    ),
    "place.before_due": ngettext_lazy(
        "Done %(count)s day before its due date.",
        "Done %(count)s days before its due date.",
        "count",
    ),
    "place.after_safety": ngettext_lazy(
        "Done %(count)s day after its safety date.",
        "Done %(count)s days after its safety date.",
        "count",
    ),
    "place.after_due": ngettext_lazy(
        "Done %(count)s day after its due date.",
        "Done %(count)s days after its due date.",
        "count",
    ),
    "place.on_safety": _("Done on its safety date."),
    "place.on_due": _("Done on its due date."),
    "place.given_up": _("Had a place on %(was_at)s, given up: %(why)s"),
    "place.pin_lost": _("It was kept on %(was_at)s, which no longer held: %(why)s"),
    "place.put": _("Put here by %(who)s."),
    "place.put_back": _("Put back into the plan; the day's next run looks for a place."),
    "place.not_looked_for": _("Raised since the day was last worked out."),
    "who.program": _("the program itself"),
    "left_out.until_put_back": _("Left out of the plan by %(who)s on %(said_on)s until it is put back: %(why)s."),
    "left_out.until_day": _("Not wanted before %(not_before_on)s, said %(who)s on %(said_on)s: %(why)s."),
    "missed.in_times": _("%(times)s: %(why)s"),
    "time.running": ngettext_lazy(
        "%(count)s running phase",
        "%(count)s running phases",
        "count",
    ),
    "time.openings": ngettext_lazy(
        "%(count)s opening",
        "%(count)s openings",
        "count",
    ),
    "time.standstills": ngettext_lazy(
        "%(count)s opening or standstill",
        "%(count)s openings or standstills",
        "count",
    ),
}

#: Why a place does not hold, what must be minded with it, and why a plan does not take a job up.
FAULTS: Final[Patterns] = {
    "fault.at_work": _("%(person)s is at work that is under way until %(until_at)s."),
    "fault.nobody_locks_out": _("Nobody who may lock %(kiln)s out is on shift from %(start_at)s to %(end_at)s."),
    "fault.not_on_shift": ngettext_lazy(
        "%(names)s is not on shift from %(start_at)s to %(end_at)s, overtime included.",
        "%(names)s are not on a shift together from %(start_at)s to %(end_at)s, overtime included.",
        "count",
    ),
    "fault.not_running": _("%(kiln)s is not running from %(start_at)s to %(end_at)s"),
    "fault.not_empty": _(
        "%(kiln)s is not open and empty from %(start_at)s to %(end_at)s, with %(set_up_min)s to lock out before "
        "and %(restore_min)s to restore behind"
    ),
    "fault.not_stopped": _(
        "%(kiln)s is not stopped from %(start_at)s to %(end_at)s, with %(set_up_min)s to lock out before and "
        "%(restore_min)s to restore behind"
    ),
    "fault.charge_in_it": _("%(need)s: %(charge)s is in it from %(start_at)s to %(end_at)s."),
    "fault.stands_with_its_charge": _("%(need)s: it stands until %(end_at)s, its charge in it."),
    "fault.no_charge_in_it": _("%(need)s: no charge is in it."),
    "fault.beside_pins": _("It does not hold beside the others that are kept by hand."),
    "fault.time_over": _("Its time is over, and nobody has begun."),
    "fault.not_yet_empty": _("Its time began at %(start_at)s, and %(kiln)s is not open and empty."),
    "fault.not_yet_stopped": _("Its time began at %(start_at)s, and %(kiln)s is not stopped."),
    "fault.not_yet_running": _("Its time began at %(start_at)s, and %(kiln)s is not running."),
    "fault.nobody_given": _("Nobody is given to it."),
    "fault.not_here": _("Its time has begun, or %(names)s does not work here then."),
    "fault.not_planned": _("%(wanted_at)s is not in the time that is planned: from now to %(until_at)s."),
    "fault.no_part": _("%(job)s is not part of the plan."),
    "fault.no_shift": _("%(names)s: not on any shift of the time that is planned."),
    "fault.in_its_way": _("Another place in its way keeps it from holding."),
    "fault.after_safety": _("It would end after the last day that is safe."),
    "fault.beside": _("%(job)s finds no place beside the others."),
    "mind.after_safety": _(
        "It ends after its safety date, %(latest_at)s: keep %(kiln)s out of use from then on until it is done."
    ),
    "mind.after_due": _("It ends after its due date, %(due_at)s."),
    "mind.interrupted": _("Interrupted for it: %(charge)s."),
    "mind.charge_waits": _("Charge %(charge)s waits %(later_min)s for it."),
    "passed.begun": _("It is finished, withdrawn or under way."),
    "passed.left_out": _("It is in hand or left out of the plan by now."),
    "passed.time_gone": _("The plan's time for it has gone by."),
    "aside.no_shifts": _("Nobody is on a shift. Put people on shifts."),
    "aside.too_long": _(
        "It takes %(needed_h)s, longer than any shift with its overtime (%(longest_h)s): ask for its parts as "
        "jobs of their own."
    ),
    "aside.unsupplied": _(
        "Waits for %(parts)s: not on the shelf, no supplier has promised a day, and nobody is known who delivers "
        "it. Enter the promised day, or the supplier with the days it takes."
    ),
    "note.late_part": _(
        "%(part)s should have come by now; the plan takes it to be there tomorrow, for %(jobs)s. Ask the supplier."
    ),
    "note.no_rate": _("Nothing tells what %(kiln)s dries: that it is stopped costs nothing here."),
    "unsafe.kept_late": _(
        "It is kept by hand at a place that ends on %(end_at)s, after its safety date: let it move, or say why."
    ),
}

SUPPOSED: Final[Patterns] = {
    "supposed.pins_loose": ngettext_lazy(
        "%(jobs)s keeps a place that does not hold then, and may move in this plan.",
        "%(jobs)s keep places that do not hold then, and may move in this plan.",
        "count",
    ),
    "supposed.charge_slips": _("Charge %(charge)s of %(kiln)s takes %(longer_min)s longer."),
    "supposed.away": _("%(name)s is away from %(from_at)s to %(until_at)s."),
    "supposed.kiln_kept": _("%(kiln)s is kept for work from %(from_at)s to %(until_at)s, and its charges wait."),
    "supposed.part_late": ngettext_lazy(
        "%(part)s arrives on %(arrives_on)s; %(count)s job waits for it.",
        "%(part)s arrives on %(arrives_on)s; %(count)s jobs wait for it.",
        "count",
    ),
    "supposed.taken_up": _("The openings behind it take that up."),
    "supposed.loses": _(
        "That alone loses drying worth %(loss_cents)s, which no plan can change and the plan's cost leaves out."
    ),
}

SHOUTS: Final[Patterns] = {
    "cleared.stays": _("%(job)s keeps its place on %(was_at)s, but that does not hold: %(why)s It stays: you decide."),
    "cleared.none": _("%(job)s lost its place on %(was_at)s: %(why)s It has none now."),
    "cleared.others": _("%(job)s lost its crew on %(was_at)s: %(why)s Others do it at the same time."),
    "cleared.moved": _("%(job)s lost its place on %(was_at)s: %(why)s It is placed on %(now_at)s now."),
    "shout.no_place": _(
        "%(job)s on %(kiln)s is safety work and has no place before its safety date, %(safe_on)s. %(why)s Keep "
        "%(kiln)s out of use from that day until the work is done."
    ),
    "shout.late": _(
        "%(job)s on %(kiln)s is safety work and misses its safety date, %(safe_on)s: the nearest place, held for "
        "it, is %(start_at)s. Stop %(kiln)s earlier, or keep it out of use from that day until the work is done."
    ),
    "shout.kept_late": _(
        "%(job)s on %(kiln)s is safety work and is kept by hand at %(start_at)s, after its safety date, "
        "%(safe_on)s. Keep %(kiln)s out of use from that day until the work is done."
    ),
    "shout.nobody_locks_out": ngettext_lazy(
        "Nobody on record may lock a kiln out: %(count)s job that needs it has no place. Enter the skill "
        "“%(named)s” for those who have it.",
        "Nobody on record may lock a kiln out: %(count)s jobs that need it have no place. Enter the "
        "skill “%(named)s” for those who have it.",
        "count",
    ),
    "safety.placed_late": _("%(kiln)s: %(title)s is placed after its safety date, %(safe_on)s."),
    "safety.past": _("%(kiln)s: %(title)s is past its safety date, %(safe_on)s."),
    "safety.no_place": _("%(kiln)s: %(title)s has no place before its safety date, %(safe_on)s."),
}

PATTERNS: Final[Patterns] = {**PLACES, **FAULTS, **SUPPOSED, **SHOUTS, **MISSED, **BROKEN, **CAUSES, **HOPELESS}
