"""Charges as they go over the wire."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Annotated, Any, Final, Literal

from ninja import Schema
from pydantic import AfterValidator, AwareDatetime, BeforeValidator, ConfigDict, Field, StringConstraints

MOST_CHARGES: Final = 500
FIRST, END = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)


def _no_number(value: Any) -> Any:
    """Refuse a count of seconds: whoever counts milliseconds would be years away."""
    if not isinstance(value, str | datetime):
        raise ValueError("write it as RFC 3339 with its offset from UTC, such as 2026-12-01T06:00:00+01:00")
    return value


def _in_our_time(value: Any) -> Any:
    if isinstance(value, datetime) and value.tzinfo is not None and not FIRST <= value < END:
        raise ValueError("it lies outside the years 2000 to 2099")
    return value


def _a_number(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise ValueError("write a number")
    return value


Instant = Annotated[AwareDatetime, BeforeValidator(_no_number), AfterValidator(_in_our_time)]
PRINTED: Final = r"^[^\x00-\x1f]+$"
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=60, pattern=PRINTED)]
Short = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=20, pattern=PRINTED)]
Pct = Annotated[Decimal, BeforeValidator(_a_number), Field(ge=1, le=250, max_digits=5, decimal_places=1)]
Amount = Annotated[Decimal, BeforeValidator(_a_number), Field(ge=0, max_digits=12, decimal_places=2)]
Volume = Annotated[Decimal, BeforeValidator(_a_number), Field(gt=0, le=10_000, max_digits=12, decimal_places=3)]


class Strict(Schema):
    """Refuses what it does not know."""

    model_config = ConfigDict(extra="forbid")


class ToldSent(Strict):
    """What happened to a charge, and when; of what is expected, when it will be out, or started if it was not yet."""

    what: Literal["started", "opened", "unloaded", "expected"]
    at: Instant


class ChargeSent(Strict):
    """A charge by its kiln and number, with what is planned of it and what happened, as far as the source knows it.

    To plan one that is not known, species, thickness, volume, begin and end are needed.
    """

    kiln: Short
    number: Short
    species: Name = Field(default="")
    thickness_mm: Annotated[int, BeforeValidator(_a_number)] = Field(default=0, ge=5, le=300)
    volume_m3: Volume = Field(default=Decimal(0))
    initial_mc_pct: Pct | None = None
    final_mc_pct: Pct | None = None
    begin_at: Instant | None = Field(default=None, description="When loading begins.")
    end_at: Instant | None = Field(default=None, description="When it is out.")
    promised_at: Instant | None = None
    late_cost_per_h: Amount | None = None
    told: list[ToldSent] = Field(default_factory=list, max_length=10)


class ChargesSent(Strict):
    """The charges, in the order in which they are to be taken."""

    charges: list[ChargeSent] = Field(max_length=MOST_CHARGES)


class Heard(Schema):
    """How many charges were planned or changed, how much was told, known already, and how much differs from ours."""

    planned: int = Field(ge=0)
    changed: int = Field(ge=0)
    told: int = Field(ge=0)
    known: int = Field(ge=0)
    differing: int = Field(ge=0, description="A person said otherwise; it is shown to people beside ours.")


class ToldGiven(Schema):
    """What was told; ``by`` is person, readings, or the code of the source that sent it."""

    what: str
    at: datetime
    by: str


class ChargeGiven(Schema):
    """A charge as it stands."""

    kiln: str
    number: str
    state: str = Field(description="planned, running or done")
    species: str
    thickness_mm: int
    volume_m3: float
    initial_mc_pct: float | None
    final_mc_pct: float | None
    promised_at: datetime | None
    late_cost_per_h: float | None
    planned_begin_at: datetime
    planned_end_at: datetime
    begin_at: datetime = Field(description="The best that is known.")
    end_at: datetime = Field(description="The best that is known.")
    told: list[ToldGiven]


class Charges(Schema):
    """The charges."""

    source: str
    charges: list[ChargeGiven]


def charges_body() -> dict[str, Any]:
    """Return the body of charges in words of OpenAPI 3.1, every part where it is used."""
    found = ChargesSent.model_json_schema()
    parts = found.pop("$defs", {})
    example = {
        "charges": [
            {
                "kiln": "K1",
                "number": "26-118",
                "species": "spruce",
                "thickness_mm": 50,
                "volume_m3": 55,
                "begin_at": "2026-12-07T06:00:00+01:00",
                "end_at": "2026-12-12T10:00:00+01:00",
            },
            {"kiln": "K1", "number": "26-117", "told": [{"what": "unloaded", "at": "2026-11-30T14:05:00+01:00"}]},
        ]
    }
    return {"required": True, "content": {"application/json": {"schema": _inlined(found, parts), "example": example}}}


def _inlined(of: Any, parts: dict[str, Any]) -> Any:
    if isinstance(of, dict):
        if "$ref" in of:
            return _inlined(parts[str(of["$ref"]).rpartition("/")[2]], parts)
        return {key: _inlined(value, parts) for key, value in of.items()}
    return [_inlined(one, parts) for one in of] if isinstance(of, list) else of
