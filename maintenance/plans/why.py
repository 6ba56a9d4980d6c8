"""Why a plan has a job where it is, in sentences about this mill."""

from collections.abc import Iterable

from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from maintenance.placing.reasons import Reason
from maintenance.plans.standing import Standing


def say_reason(standing: Standing, ref: str) -> str:
    """Say why a job is where it is, and why not sooner. Raises KeyError for a job that is not part of the plan."""
    return " ".join(_sentences(standing, standing.reason(ref)))


def _sentences(standing: Standing, reason: Reason) -> Iterable[str]:
    if reason.grouped_with:
        yield _("Shares a lock-out with %(jobs)s.") % {"jobs": get_text_list(list(reason.grouped_with), _("and"))}
    causes = [standing.put(cause.pattern, cause.values) for cause in reason.causes]
    if causes and reason.is_placed:
        yield _("Not sooner: %(causes)s.") % {"causes": "; ".join(causes)}
    elif causes:
        yield _("Has no place: %(causes)s.") % {"causes": "; ".join(causes)}
    if reason.sooner is not None and reason.is_placed and reason.sooner.more_cents > 0:
        values = (("at_min", reason.sooner.start_min), ("more_cents", reason.sooner.more_cents))
        yield standing.put(_("On {at_min} it would cost {more_cents} more."), values)
    elif reason.is_placed and not causes:
        yield _("As soon as it can be.") if reason.sooner is None else _("Sooner would cost the other jobs more.")
