"""Which channel a column of a logger's file probably is, told by its name; only ever proposed."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from plant.readings.calculations.reading_units import known_unit, units_of


@dataclass(frozen=True, slots=True)
class Candidate:
    """A channel that a column may be."""

    key: int
    kiln: str
    quantity: str
    place: str


# The first that fits counts, so what is more particular stands before what is less. Our own list of words of the trade.
_WORDS: Final[tuple[tuple[str, str], ...]] = (
    ("outside_humidity", r"(outside|outdoor|ambient|aussen|außen|ute).*(rh|hum|rf|feuchte)"),
    ("outside_temperature", r"outside|outdoor|ambient|aussen|außen|\bute"),
    ("set_wet_bulb", r"(set|wanted|target|soll|bör).*(wet|feucht|våt)|(wet|feucht|våt).*(set|wanted|target|soll|bör)"),
    ("set_emc", r"(set|wanted|target|soll|bör).*(emc|ugl)|(emc|ugl).*(set|wanted|target|soll|bör)"),
    ("set_relative_humidity", r"(set|wanted|target|soll|bör).*(\brh\b|hum)|(\brh\b|hum).*(set|wanted|target|soll|bör)"),
    ("set_air_temperature", r"\bset|setpoint|wanted|target|soll|\bbör"),
    ("heating_supply_temperature", r"supply|flow temp|vorlauf|framledning|\bmedium"),
    ("heating_valve", r"heat.*valve|valve.*heat|heizventil|\bheating (%|pos)|värmeventil"),
    ("spray_valve", r"spray|humidif|sprüh|bas(ning|ventil)"),
    ("flap_position", r"flap|vent(s|ilation)?\b|damper|klappe|spjäll"),
    ("fan_direction", r"(fan|air).*(dir|rotation|sense)|drehrichtung|riktning"),
    ("fan_speed", r"(fan|vent).*(speed|rpm|%)|drehzahl|varvtal"),
    ("fan_current", r"(fan|motor).*(current|amp|\ba\b)|\bamps?\b|current|strom"),
    ("heat_power", r"power|\bkw\b|heat output|leistung|effekt"),
    ("door_open", r"door|tür|tor\b|port\b"),
    ("message", r"alarm|message|fault|code|meldung|larm"),
    ("wet_bulb", r"wet|feucht(kugel|er)?\b|t feucht|våt|\btwb\b|\btw\b"),
    ("emc", r"\bemc\b|\bugl\b|plate|equilib"),
    ("wood_temperature", r"(wood|core|timber|holz|virke).*(temp|\bt\b)"),
    ("wood_moisture", r"\bmc\b|wood|moisture|holzfeuchte|\bfukt|probe"),
    ("relative_humidity", r"\brh\b|humid|\brf\b|r\.f\.|feuchte"),
    ("air_temperature", r"dry|temp|trocken|torr|\btdb\b|\btd?\b|\bt ?\d"),
)
_PLACES: Final = {"left": r"left|links|vänster|\bl\b", "right": r"right|rechts|höger|\br\b"}


def guess_channels(
    names: Sequence[str], units: Sequence[str], channels: Sequence[Candidate], hint: str = ""
) -> dict[str, Candidate]:
    """Propose a channel for each name that fits exactly one.

    Parameters
    ----------
    names, units : Sequence[str]
        As the file has them; a unit is empty where the file has none.
    channels : Sequence[Candidate]
        All channels that may be meant.
    hint : str
        What else tells the kiln, such as the name of the file.

    Returns
    -------
    dict[str, Candidate]
        No channel twice: one that two names would fit is proposed for neither.
    """
    by_kiln = {channel.kiln for channel in channels}
    found: dict[str, Candidate] = {}
    for name, unit in zip(names, units, strict=True):
        plain = _plain(name)
        kilns = _kilns_in(plain, by_kiln) or _kilns_in(_plain(hint), by_kiln) or by_kiln
        fitting = [one for one in channels if one.kiln in kilns and _fits(one, plain, unit)]
        if len(fitting) > 1:
            fitting = [one for one in fitting if one.place and _names_place(one.place, _without(plain, one.kiln))]
        if len(fitting) == 1:
            found[name] = fitting[0]
    counts = [one.key for one in found.values()]
    return {name: one for name, one in found.items() if counts.count(one.key) == 1}


def _plain(name: str) -> str:
    """Return a name as words and numbers: “K1.MC2” as “k 1 mc 2”."""
    apart = re.sub(r"(?<=[a-zäöåü])(?=\d)|[_./:|\-]+", " ", name.casefold())
    return " ".join(apart.split())


def _kilns_in(plain: str, kilns: set[str]) -> set[str]:
    """Return the kilns whose tag stands in a text as a word, “K1” also as “kiln 1” and “kammer 1”."""
    found = set()
    for kiln in kilns:
        tag = re.escape(_plain(kiln))
        number = re.sub(r"\D", "", kiln)
        spelled = rf"|(?:kiln|chamber|kammer|kammare|tork) ?0*{number}" if number else ""
        if re.search(rf"(?<![a-z0-9])(?:{tag}{spelled})(?![0-9])", plain):
            found.add(kiln)
    return found


def _without(plain: str, kiln: str) -> str:
    return re.sub(rf"(?<![a-z0-9]){re.escape(_plain(kiln))}(?![0-9])", " ", plain)


def _fits(channel: Candidate, plain: str, unit: str) -> bool:
    """Say whether the words name the channel's quantity, the unit suits it, and its place is not gainsaid."""
    told = _without(plain, channel.kiln)
    quantity = next((code for code, words in _WORDS if re.search(words, told)), None)
    if quantity != channel.quantity:
        return False
    if unit and (known := known_unit(unit)) is not None and known not in units_of(channel.quantity):
        return False
    places = [place for place, words in _PLACES.items() if re.search(words, told)]
    return not places or channel.place in places or not channel.place


def _names_place(place: str, told: str) -> bool:
    if place in _PLACES:
        return bool(re.search(_PLACES[place], told))
    return bool(re.search(rf"(?<![0-9]){re.escape(place)}(?![0-9])", told))
