"""What people tell of charges: loaded and started, not begun at all, opened, out, or expected at another time.

Each telling is a row of a ledger; the charge's own times hold the best that is known. What was told last of a charge
can be corrected, or taken back: then what stood there before stands there again.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence
from plant.charges.calculations import told
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.giving_way import give_way
from plant.charges.calculations.told import ChargeTimes
from plant.charges.programme import Basis, Programme, Stand, basis_of, say_at
from plant.frame.reasons import require_sentence
from plant.models import Charge, ChargeWord, Downtime, Kiln, User
from plant.warnings.running_bars import lock_kiln, refuse_beginning, refuse_running

ACT = "tell of charges"
What = ChargeWord.What
# A phone's clock may be a little ahead of the server's.
AHEAD = timedelta(minutes=2)
FARTHEST = timedelta(days=45)
DRYING = (PhaseKind.HEATING_UP, PhaseKind.DRYING, PhaseKind.CONDITIONING)


def is_inside(charge: Charge) -> bool:
    """Say whether a charge is in its kiln by the record, now."""
    return basis_of(charge, clock.now()) == Basis.RUNNING


def may_tell(charge: Charge, words: Sequence[ChargeWord]) -> tuple[ChargeWord.What, ...]:
    """Return what can be told of a charge next after the words that count, the likeliest first.

    When it was started can be told of one under way as long as nobody did: then a file or the plan said so.
    """
    basis, known = basis_of(charge, clock.now()), {word.what for word in words}
    if basis == Basis.PLANNED:
        return What.STARTED, What.EXPECTED
    is_unheard = bool(words) and not words[-1].is_by_people
    if basis == Basis.DONE:
        # What no person told, nobody goes in by: a person may say it too.
        return (What.UNLOADED,) if is_unheard and words[-1].what == What.UNLOADED else ()
    if What.OPENED in known:
        again = (What.OPENED,) if is_unheard and words[-1].what == What.OPENED else ()
        return *again, What.UNLOADED, What.EXPECTED
    start = () if What.STARTED in known else (What.STARTED,)
    return What.OPENED, What.UNLOADED, What.EXPECTED, *start, What.NOT_BEGUN


def last_word(words: Sequence[ChargeWord], what: str) -> ChargeWord | None:
    """Return the last that was told of a kind; None where nothing was."""
    return next((word for word in reversed(words) if word.what == what), None)


def words_of(charges: Iterable[Charge]) -> dict[int, list[ChargeWord]]:
    """Return charge id -> what was told of it and counts, the last one last; one query."""
    found: dict[int, list[ChargeWord]] = defaultdict(list)
    for word in ChargeWord.objects.that_count().filter(charge__in=[charge.pk for charge in charges]):
        found[word.charge_id].append(word)
    return found


@transaction.atomic
def tell(
    charge: Charge,
    what: str,
    at: datetime,
    *,
    key: UUID,
    by: User | None,
    why: str = "",
    said: Sentence | None = None,
    by_source: str | None = None,
) -> ChargeWord:
    """Keep what happened to a charge, or when it is expected, and move what stands behind it as far as it must.

    ``at`` is when it happened; of a planned charge that is expected at another time, and of one that did not begin,
    when it will be started, of one under way, when it will be out. Told twice with one ``key`` it is told once.
    ``why`` is what somebody typed, ``said`` what the program has to say. ``by_source`` as the ledger has it: by what a
    person did not tell nobody goes in. Raises ValidationError.
    """
    require(by, ACT)
    programme, known = _locked(charge, key)
    if known:
        return known
    last = programme.words[-1] if programme.words else None
    # What is expected now takes the place of what was expected before; those that gave way to that are reckoned anew.
    corrects = last if last and last.what == what == What.EXPECTED and programme.put_back(last) else None
    if last and last.what == what != What.EXPECTED and by_source is None and not last.is_by_people:
        # A person says what readings or a program said before: from then on it counts for whoever goes in.
        programme.reckon_before(last)
        corrects = last
    return _tell(programme, what, at, key=key, by=by, why=why, said=said, corrects=corrects, by_source=by_source)


@transaction.atomic
def correct(
    word: ChargeWord, at: datetime, *, key: UUID, by: User | None, why: str, by_source: str | None = None
) -> ChargeWord:
    """Put the instant right that was told last of a charge; the ledger keeps the former one and the reason."""
    require(by, ACT)
    programme, known = _locked(word.charge, key)
    if known:
        return known
    _refuse_unless_last(programme, word, why)
    if word.what in (What.OPENED, What.UNLOADED) and at > word.at:
        # It ran, or was in there, for longer than was told: nobody may have gone in on the word that is put right.
        refuse_running(programme.kiln)
    programme.reckon_before(word)
    return _tell(programme, word.what, at, key=key, by=by, why=why, corrects=word, by_source=by_source)


@transaction.atomic
def take_back(word: ChargeWord, *, key: UUID, by: User | None, why: str) -> ChargeWord:
    """Take back what was told last of a charge: what stood before stands again, also of the charges behind it."""
    require(by, ACT)
    programme, known = _locked(word.charge, key)
    if known:
        return known
    _refuse_unless_last(programme, word, why)
    if word.what in (What.OPENED, What.UNLOADED, What.NOT_BEGUN):
        refuse_running(programme.kiln)
    if word.what == What.STARTED and (word.by is None or word.by != by):
        # One's own slip is taken back by anybody; whether what others said is wrong, few can judge.
        _refuse_while_drying(programme, clock.now(), by, why)
    if not programme.put_back(word):
        raise ValidationError(
            _("The times of %(number)s were changed since: they cannot simply be put back. Put right what was told."),
            code="moved",
            params={"number": programme.charge.number},
        )
    return _settle(programme, What.TAKEN_BACK, word.at, programme.stand, key=key, by=by, why=why, corrects=word)


class Told(Programme):
    """The charges of one kiln, locked, with the one of which something is told."""

    def __init__(self, kiln: Kiln, charge: Charge) -> None:
        super().__init__(kiln, min(charge.begin_at, clock.now()))
        self.charge = self.charges[charge.pk]
        self.words = words_of([charge])[charge.pk]

    @property
    def stand(self) -> Stand:
        """Where the charge in question stands."""
        return self.stands[self.charge.pk]

    @property
    def stand_by_people(self) -> Stand:
        """Where it stands by what people told; that it was started counts whoever says so."""
        stand = self.stand
        for word in reversed(self.words):
            if word.is_by_people:
                break
            if word.what != What.STARTED:
                stand = Stand.from_json(word.before)
        return stand

    def others_stand(self, *bases: str) -> list[tuple[Charge, Stand]]:
        """Return the other charges of some bases with where they stand, by begin."""
        return self.standing(*bases, but=self.charge.pk)

    def put_back(self, word: ChargeWord) -> bool:
        """Reckon from where the charge, and those that gave way, stood before a word; say whether that could be."""
        if self.stand.as_json() != word.after:
            return False
        self.stands[self.charge.pk] = Stand.from_json(word.before)
        for one in word.moved:
            stand = self.stands.get(one["charge"])
            if stand is not None and stand.as_json() == one["after"]:
                self.stands[one["charge"]] = Stand.from_json(one["before"])
        return True

    def reckon_before(self, word: ChargeWord) -> None:
        """Reckon from before a word; where its times were changed since by something else, from where it stands."""
        if not self.put_back(word):
            self.stands[self.charge.pk] = Stand(word.before["basis"], self.stand.times)


def _locked(charge: Charge, key: UUID) -> tuple[Told, ChargeWord | None]:
    kiln = lock_kiln(charge.kiln_id)
    return Told(kiln, charge), ChargeWord.objects.filter(key=key).first()


def _refuse_unless_last(programme: Told, word: ChargeWord, why: str) -> None:
    if programme.words[-1:] != [word]:
        raise ValidationError(
            _("Something else was told of %(number)s since. Look at its page again; what was told last comes first."),
            code="not_last",
            params={"number": programme.charge.number},
        )
    if not why.strip():
        raise ValidationError({"why": _("Say why it is put right: the record keeps the reason.")})


def _tell(
    programme: Told,
    what: str,
    at: datetime,
    *,
    key: UUID,
    by: User | None,
    why: str,
    said: Sentence | None = None,
    corrects: ChargeWord | None = None,
    by_source: str | None = None,
) -> ChargeWord:
    now = clock.now()
    before = [word for word in programme.words if word != corrects]
    _refuse_basis(programme, what, before)
    _refuse_slip(programme.stand, at)
    if what in (What.EXPECTED, What.NOT_BEGUN):
        if at <= now:
            raise ValidationError({"at": _("That instant has gone by. Give the one that is expected now.")})
        if what == What.NOT_BEGUN:
            _refuse_while_drying(programme, now, by, why)
        is_to_come = what == What.NOT_BEGUN or programme.stand.basis == Basis.PLANNED
        after = _expected_start(programme, at, now) if is_to_come else _expected_out(programme, at, now)
    else:
        if at > now + AHEAD:
            raise ValidationError({"at": _("That instant lies ahead: tell it when it has happened.")})
        after = _happened(programme, what, at, before)
        if what in (What.OPENED, What.UNLOADED) and not (corrects and corrects.is_by_people):
            _refuse_while_drying(programme, now, by, why)
    return _settle(
        programme, what, at, after, key=key, by=by, why=why, said=said, corrects=corrects, by_source=by_source
    )


def _refuse_slip(stand: Stand, at: datetime) -> None:
    """Refuse an instant that only a slip can mean: whole weeks away from all that is on record of the charge."""
    times = stand.times
    if not times.begin_at - FARTHEST <= at <= times.end_at + FARTHEST:
        message = _(
            "That is more than %(days)d days away from what is on record, %(begin)s to %(end)s: look at the date."
        )
        facts = {"days": FARTHEST.days, "begin": say_at(times.begin_at), "end": say_at(times.end_at)}
        raise ValidationError({"at": message % facts}, code="slip")


def _refuse_while_drying(programme: Told, now: datetime, by: User | None, why: str) -> None:
    """Let only those who may open a drying kiln say, with a reason, that one was opened that dries by the record."""
    times = _as_it_stood(programme, now, programme.stand_by_people, [w for w in programme.words if w.is_by_people])
    under_way = next((one for one in times.spans if one.begin_at <= now < one.end_at), None)
    if under_way is None or under_way.kind not in DRYING:
        return
    facts = {"kiln": programme.kiln.tag, "number": programme.charge.number, "end": say_at(times.end_at)}
    if by is not None and not by.may("open a drying kiln"):
        message = _(
            "By the record %(kiln)s dries %(number)s until %(end)s. That it was opened all the same, only the kiln "
            "master or the planner can tell, with the reason. Look whether it is the right kiln."
        )
        raise ValidationError(message % facts, code="dries")
    try:
        require_sentence(why)
    except ValidationError as refusal:
        message = _("By the record %(kiln)s dries %(number)s until %(end)s.") % facts
        raise ValidationError({"why": " ".join([message, *refusal.messages])}, code="dries") from None


def _refuse_basis(programme: Told, what: str, words: Sequence[ChargeWord]) -> None:
    """Refuse what cannot follow on what is on record of the charge."""
    stand = programme.stand
    facts = {
        "number": programme.charge.number,
        "begin": say_at(stand.times.begin_at),
        "end": say_at(stand.times.end_at),
    }
    if stand.basis == Basis.DONE:
        raise ValidationError(_("%(number)s was out on %(end)s already.") % facts, code="out")
    known = {word.what: word for word in words}
    if what == What.OPENED and what in known:
        message = _("%(number)s was opened on %(at)s already: put that right instead.")
        raise ValidationError(message % {"at": say_at(known[what].at), **facts}, code="opened")
    if what == What.STARTED and stand.basis != Basis.PLANNED and known.keys() & {What.STARTED, What.OPENED}:
        raise ValidationError(
            _("%(number)s is on record as begun since %(begin)s: put that right instead.") % facts, code="begun"
        )
    if what == What.NOT_BEGUN and What.OPENED in known:
        message = _("%(number)s was opened on %(at)s: take that back first, then say that it did not begin.")
        raise ValidationError(message % {"at": say_at(known[What.OPENED].at), **facts}, code="opened")
    if what == What.NOT_BEGUN and stand.basis == Basis.PLANNED:
        raise ValidationError(_("%(number)s has not begun by the record either.") % facts, code="planned")
    if what in (What.OPENED, What.UNLOADED) and stand.basis == Basis.PLANNED:
        raise ValidationError(_("%(number)s has not begun by the record: tell first when it was started.") % facts)


def _happened(programme: Told, what: str, at: datetime, words: Sequence[ChargeWord]) -> Stand:
    times, number = programme.stand.times, programme.charge.number
    if what != What.STARTED and at <= times.heating_at:
        message = _("%(number)s was started on %(begin)s: give an instant after that, or put the start right first.")
        raise ValidationError({"at": message % {"number": number, "begin": say_at(times.heating_at)}})
    if what == What.OPENED:
        return Stand(Basis.RUNNING, told.opened(times, at))
    opened_at = next((word.at for word in words if word.what == What.OPENED), None)
    if what == What.UNLOADED and opened_at is not None and at < opened_at:
        message = _("%(number)s was opened on %(at)s: it cannot have been out before.")
        raise ValidationError({"at": message % {"number": number, "at": say_at(opened_at)}})
    if what == What.UNLOADED:
        return Stand(Basis.DONE, told.unloaded(times, at))
    if programme.stand.basis == Basis.PLANNED:
        refuse_running(programme.kiln)
        _refuse_taken(programme, at)
    ends = [stand.times.end_at for _one, stand in programme.others_stand(Basis.DONE)]
    return Stand(Basis.RUNNING, told.started(times, at, max((end for end in ends if end <= at), default=None)))


def _refuse_taken(programme: Told, at: datetime) -> None:
    """Refuse to start a charge while another is in the kiln, or while the kiln stands by the record."""
    facts = {"kiln": programme.kiln.tag, "number": programme.charge.number}
    for inside, _stand in programme.others_stand(Basis.RUNNING):
        raise ValidationError(
            _("%(inside)s is in %(kiln)s by the record. Tell first when it was out; then %(number)s can be started.")
            % {"inside": inside.number, **facts},
            code="taken",
        )
    stop = Downtime.objects.filter(kiln=programme.kiln).stops_at(at).still_open().first()
    if stop is not None:
        cause = f" ({stop.cause})" if stop.cause else ""
        raise ValidationError(
            _("%(kiln)s stands since %(since)s%(cause)s. Say first that it is able to dry again.")
            % {"since": say_at(stop.start_at), "cause": cause, **facts},
            code="stands",
        )


def _as_it_stood(programme: Told, now: datetime, stand: Stand, words: Sequence[ChargeWord]) -> ChargeTimes:
    """Return the times of the charge, later by as long as its kiln stood while nobody knew its end."""
    times = stand.times
    ends = [word.told_at for word in words if word.what == What.EXPECTED]
    stops = Downtime.objects.filter(
        kiln=programme.kiln, charge_end_unknown_at__isnull=False, share_lost=1, start_at__gte=times.begin_at
    ).exclude(kind=Downtime.Kind.NO_TIMBER)
    for stop in stops.order_by("start_at"):
        until_at = min(stop.end_at or now, now)
        since_at = stop.charge_end_unknown_at
        is_unknown = since_at is not None and not any(told_at > since_at for told_at in ends)
        if is_unknown and stop.start_at < min(until_at, times.end_at):
            times = told.stood(times, stop.start_at, until_at)
    return times


def _expected_out(programme: Told, at: datetime, now: datetime) -> Stand:
    stand = programme.stand
    return Stand(stand.basis, told.expected_at(_as_it_stood(programme, now, stand, programme.words), at, now))


def _expected_start(programme: Told, at: datetime, now: datetime) -> Stand:
    stand = programme.stand
    # What is still to be loaded is not loaded in the past.
    times = told.started(stand.times, at, min(told.up_to_minute(now), at))
    for one, other in programme.others_stand(*Basis.values):
        is_before = other.basis != Basis.PLANNED or other.times.begin_at < stand.times.begin_at
        if is_before and other.times.end_at > times.begin_at:
            message = _(
                "%(other)s is in %(kiln)s until %(end)s by the record; %(number)s can be started from %(from)s on."
            )
            facts = {"other": one.number, "kiln": programme.kiln.tag, "number": programme.charge.number}
            from_at = other.times.end_at + (times.heating_at - times.begin_at)
            facts |= {"end": say_at(other.times.end_at), "from": say_at(from_at)}
            raise ValidationError({"at": message % facts}, code="taken")
    return Stand(Basis.PLANNED, times)


def _settle(
    programme: Told,
    what: str,
    at: datetime,
    after: Stand,
    *,
    key: UUID,
    by: User | None,
    why: str,
    said: Sentence | None = None,
    corrects: ChargeWord | None,
    by_source: str | None = None,
) -> ChargeWord:
    """Give the charge its times, let those behind give way, and put it on record."""
    charge = programme.charge
    _refuse_shared(programme, after)
    behind = _give_way(programme, after)
    if what in (What.EXPECTED, What.NOT_BEGUN, What.TAKEN_BACK):
        _refuse_beginning(programme, what)
    changed = programme.write()
    # What is put right keeps where all stood before anything was told: there they return when it is taken back.
    stood = {one["charge"]: one["before"] for one in corrects.moved} if corrects else {}
    word = ChargeWord.objects.create(
        key=key,
        charge=charge,
        what=what,
        at=at,
        told_at=clock.now(),
        by=by,
        corrects=corrects,
        why=why.strip(),
        said=said,
        by_source=by_source,
        before=corrects.before if corrects else programme.were[charge.pk].as_json(),
        after=after.as_json(),
        moved=[
            {
                "charge": one.pk,
                "before": stood.get(one.pk) or programme.were[one.pk].as_json(),
                "after": programme.stands[one.pk].as_json(),
            }
            for one in behind
        ],
    )
    programme.record([charge] if charge in changed else [], f"told: {what}", by=by, note=why.strip(), said=said or ())
    gave_way = [one for one in changed if one != charge]
    programme.record(gave_way, "gave way to another charge", by=by, note=why.strip(), said=said or ())
    return word


def _refuse_beginning(programme: Told, what: str) -> None:
    """Refuse to expect a planned charge, or to draw one forward, to when people may be inside."""
    for one, stand in programme.standing(Basis.PLANNED):
        was = programme.were[one.pk]
        is_told = one == programme.charge and what in (What.EXPECTED, What.NOT_BEGUN)
        if is_told or (was.basis == Basis.PLANNED and stand.times.begin_at < was.times.begin_at):
            refuse_beginning(programme.kiln, stand.times.begin_at, stand.times.heating_at)


def _refuse_shared(programme: Told, after: Stand) -> None:
    """Refuse times that would share the kiln with a charge that has begun: that one cannot give way."""
    for one, other in programme.others_stand(Basis.RUNNING, Basis.DONE):
        times = other.times
        if times.begin_at < after.times.end_at and times.end_at > after.times.begin_at:
            message = _(
                "%(other)s is on record in %(kiln)s from %(begin)s to %(end)s: %(number)s cannot be in it as well."
            )
            facts = {"other": one.number, "kiln": programme.kiln.tag, "number": programme.charge.number}
            facts |= {"begin": say_at(times.begin_at), "end": say_at(times.end_at)}
            raise ValidationError(message % facts, code="taken")


def _give_way(programme: Told, after: Stand) -> list[Charge]:
    """Let the charge stand where it is told to, and those behind it give way; return those that must."""
    charge, was_at = programme.charge, programme.stand.times.begin_at
    others = programme.others_stand(Basis.PLANNED)
    planned = [(one.pk, stand.times) for one, stand in others]
    free_at = None
    if after.basis == Basis.PLANNED:
        ahead = sum(stand.times.begin_at < was_at for _one, stand in others)
        planned.insert(ahead, (charge.pk, after.times))
    else:
        free_at = after.times.end_at
    programme.stands[charge.pk] = after
    fixed = [stand.times for _one, stand in programme.others_stand(Basis.RUNNING, Basis.DONE)]
    fit = programme.kiln.mill.yard.next_at
    found = give_way([times for _pk, times in planned], fixed, free_at=free_at, fit=fit)
    return programme.take(dict(zip([pk for pk, _times in planned], found, strict=True)))
