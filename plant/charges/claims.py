"""Where another source says something else of a charge than a person did: both side by side, until a person decides."""

import hashlib
import json
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.utils.translation import gettext as _

from plant import clock
from plant.charges import telling
from plant.charges.planning import FACTS
from plant.charges.programme import say_at
from plant.models import Charge, ChargeClaim, ChargeWord, Kiln, ReadingSource

Answer = ChargeClaim.Answer
SHOWN: Final = (*FACTS, "begin_at", "end_at")


def claim(charge: Charge, subject: str, said: Mapping[str, Any], source: str) -> ChargeClaim:
    """Keep what a source says beside what stands; the same again is known, whatever was decided of it."""
    digest = hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
    of_it = ChargeClaim.objects.filter(source=source, charge=charge, subject=subject)
    of_it.filter(answer=Answer.OPEN).exclude(digest=digest).update(answer=Answer.GONE, answered_at=clock.now())
    found, is_new = ChargeClaim.objects.get_or_create(
        source=source,
        charge=charge,
        subject=subject,
        digest=digest,
        defaults={"said": dict(said), "heard_at": clock.now()},
    )
    if not is_new and found.answer == Answer.GONE:
        # It said something else meanwhile, and says this again.
        found.answer, found.answered_at, found.heard_at = Answer.OPEN, None, clock.now()
        found.save(update_fields=["answer", "answered_at", "heard_at"])
    return found


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A claim as it is shown: the rows are (what, ours, theirs)."""

    claim: ChargeClaim
    source: str
    rows: tuple[tuple[str, str, str], ...]

    @property
    def is_plan(self) -> bool:
        """Whether it is about what is planned."""
        return self.claim.subject == ChargeClaim.PLAN

    @property
    def is_open_door(self) -> bool:
        """Whether it says that the doors are open, or the timber out."""
        return self.claim.subject in (ChargeWord.What.OPENED, ChargeWord.What.UNLOADED)


def source_names() -> dict[str, str]:
    """Return code -> what a source of claims is called on every page; one query."""
    return {**dict(ReadingSource.objects.values_list("code", "name")), ChargeClaim.FOLDER: _("the charges folder")}


def disagreements(kilns: Collection[Kiln]) -> dict[int, list[Disagreement]]:
    """Return kiln id -> what sources say otherwise and nobody decided; three queries, one where there is nothing."""
    found = ChargeClaim.objects.filter(charge__kiln__in=kilns, answer=Answer.OPEN).select_related("charge__kiln")
    claims = list(found.order_by("charge__begin_at", "id"))
    if not claims:
        return {}
    names = source_names()
    words = telling.words_of(one.charge for one in claims)
    shown: dict[int, list[Disagreement]] = defaultdict(list)
    for one in claims:
        source = names.get(one.source, one.source)
        rows = tuple(_rows(one, words[one.charge_id]))
        if rows:
            shown[one.charge.kiln_id].append(Disagreement(one, source, rows))
    return shown


def _rows(one: ChargeClaim, words: list[ChargeWord]) -> list[tuple[str, str, str]]:
    charge = one.charge
    if one.subject != ChargeClaim.PLAN:
        what = ChargeWord.What(one.subject)
        theirs = say_at(datetime.fromisoformat(one.said["at"]))
        known = telling.last_word(words, what)
        if known is not None:
            ours = say_at(known.at)
        else:
            ours = say_at(charge.end_at) if charge.basis == Charge.Basis.DONE else _("not told")
        return [(str(what.label), ours, theirs)] if ours != theirs else []
    if charge.taken_out_at is not None:
        begin, end = (one.said.get(name) for name in ("begin_at", "end_at"))
        theirs = " – ".join(say_at(datetime.fromisoformat(at)) for at in (begin, end) if at)
        return [(_("in the programme"), _("taken out"), theirs or _("planned"))]
    rows = []
    # PostgreSQL keeps the names in an order of its own.
    for name in (name for name in SHOWN if name in one.said):
        value = one.said[name]
        field = Charge._meta.get_field(name)
        ours, theirs = _shown(getattr(charge, name)), _shown(field.to_python(value))  # type: ignore[union-attr]
        if ours != theirs:
            rows.append((str(field.verbose_name), ours, theirs))  # type: ignore[union-attr]
    return rows


def _shown(value: Any) -> str:
    if value is None:
        return "–"
    return say_at(value) if isinstance(value, datetime) else f"{value}"
