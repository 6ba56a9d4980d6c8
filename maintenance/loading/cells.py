"""Values to cells: what `columns` reads, told so that it is read as the same again."""

from collections.abc import Iterable
from datetime import date, datetime, time
from decimal import Decimal
from functools import singledispatch
from typing import Any

from django.db import models

from maintenance.loading.columns import (
    Amounts,
    Choices,
    Column,
    Customs,
    Flag,
    Moment,
    Number,
    Ref,
    Refs,
    Skills,
    TimeOfDay,
)
from maintenance.loading.plant_tables import YardColumn
from maintenance.loading.reading import SHIELDED

Cell = str | int | Decimal


def code_of(thing: Any) -> str:
    """Return the code by which rows refer to something."""
    if thing is None:
        return ""
    if isinstance(thing, str):
        return thing
    return str(next(getattr(thing, name) for name in ("code", "tag", "number") if hasattr(thing, name)))


@singledispatch
def tell(column: Column, value: Any, customs: Customs) -> Cell:
    """Return what stands in a cell; nothing for None."""
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, date) else str(value)


@tell.register
def _(column: Flag, value: Any, customs: Customs) -> Cell:
    return "" if value is None else "yes" if value else "no"


@tell.register
def _(column: Number, value: Any, customs: Customs) -> Cell:
    if value is None or value == "":
        return ""
    return plain_number(Decimal(value))


@tell.register
def _(column: YardColumn, value: Any, customs: Customs) -> Cell:
    return column.told(value)


@tell.register
def _(column: TimeOfDay, value: Any, customs: Customs) -> Cell:
    if not isinstance(value, time):
        return str(value or "")
    return f"{value:%H:%M:%S}" if value.second else f"{value:%H:%M}"


@tell.register
def _(column: Moment, value: Any, customs: Customs) -> Cell:
    return "" if value is None else tell_moment(value, customs)


@tell.register
def _(column: Ref, value: Any, customs: Customs) -> Cell:
    return code_of(value)


@tell.register
def _(column: Refs, value: Any, customs: Customs) -> Cell:
    return "; ".join(code_of(one) for one in value or ())


@tell.register
def _(column: Choices, value: Any, customs: Customs) -> Cell:
    return "; ".join(value or ())


@tell.register
def _(column: Skills, value: Any, customs: Customs) -> Cell:
    return "; ".join(f"{code_of(skill)} until {until}" if until else code_of(skill) for skill, until in value or ())


@tell.register
def _(column: Amounts, value: Any, customs: Customs) -> Cell:
    return "; ".join(f"{code_of(thing)} {plain_number(Decimal(amount)):f}" for thing, amount in value or ())


def plain_number(number: Decimal) -> Decimal:
    """Return a number without idle zeros and without exponent."""
    return Decimal(f"{number.normalize():f}")


def tell_moment(at: datetime, customs: Customs) -> str:
    """Write an instant in the mill's local time; with its distance from UTC where the clocks show that time twice."""
    local = at.astimezone(customs.zone)
    text = f"{local:%Y-%m-%d %H:%M}"
    if local.second or local.microsecond:
        text += f":{local:%S}" + (f".{local:%f}" if local.microsecond else "")
    if local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset():
        offset = local.strftime("%z")
        text += f"{offset[:3]}:{offset[3:]}"
    return text


def shielded(cell: Cell) -> str:
    """Return a cell of a CSV file; text that a spreadsheet would take for a formula gets an apostrophe in front."""
    if isinstance(cell, int | Decimal):
        return f"{cell:f}" if isinstance(cell, Decimal) else str(cell)
    return f"'{cell}" if cell and cell[0] in SHIELDED else cell


def told_row(columns: Iterable[Column], values: dict[str, Any], customs: Customs) -> list[Cell]:
    """Return the cells of a row; instances of models stand as the codes by which rows refer to them."""
    return [tell(column, values.get(column.name), customs) for column in columns]


def kept_values(obj: models.Model, columns: Iterable[Column]) -> dict[str, Any]:
    """Return what a row of a table has in the columns that are its own fields."""
    return {column.name: getattr(obj, column.name) for column in columns if hasattr(obj, column.name)}
