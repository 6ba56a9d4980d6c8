"""What is wrong in a logger's file, in words: where it is, what it is, and how to mend it."""

from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from plant.basics.sentences import Sentence
from plant.frame.saying import say


def say_fault(told: Sentence) -> str:
    """Say “Line 3, column “T”: “x” is no number. Correct the cell.”, as far as it is known where it is."""
    values: dict[str, Any] = dict(told.values)
    line, column, text = (values.get(name) for name in ("line", "column", "text"))
    what, mend = say(values["what"]), say(values["mend"])
    if text:
        what = _("“%(text)s” %(what)s") % {"text": text, "what": what}
    if line and column:
        what = _("Line %(line)s, column “%(column)s”: %(what)s") % {"line": line, "column": column, "what": what}
    elif line:
        what = _("Line %(line)s: %(what)s") % {"line": line, "what": what}
    elif column:
        what = _("Column “%(column)s”: %(what)s") % {"column": column, "what": what}
    return _("%(what)s. %(mend)s.") % {"what": capfirst(what), "mend": mend}
