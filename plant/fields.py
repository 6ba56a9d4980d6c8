"""Exact decimals on every database, and sentences that are put into words when they are read.

SQLite keeps a ``DecimalField`` as a binary float: a thousand tenths add up to 99.9999999999986 and a filter on 0.3
finds nothing. Here the number is stored as a whole count of its last decimal, so that sums, comparisons and filters are
whole-number arithmetic on SQLite and PostgreSQL alike.
"""

from collections.abc import Iterable
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core import checks, exceptions
from django.db import models
from django.db.models.expressions import Combinable
from django.utils.translation import gettext_lazy as _

from plant.basics.sentences import Sentence, Sentences, all_from_json, sentences, to_json

MAX_UNITS = 9_223_372_036_854_775_807


class ExactDecimalField(models.BigIntegerField):  # type: ignore[type-arg]
    """A Decimal with a fixed number of decimals, stored as a whole number.

    Multiplying two such columns inside a query would scale twice: multiply in Python. In ``F("x") + amount`` give the
    amount as ``Value(amount, output_field=<the field's class>())``, so that it is scaled as the column is.
    """

    # What the type checker is to take the attribute for.
    _pyi_private_set_type: Decimal | int | str | Combinable  # type: ignore[assignment]
    _pyi_private_get_type: Decimal  # type: ignore[assignment]
    _pyi_lookup_exact_type: Decimal | int | str  # type: ignore[assignment]

    default_error_messages = {
        "invalid": _("“%(value)s” is no decimal number."),
        "surplus": _("%(value)s has more than %(places)s decimals: round it yourself first."),
        "range": _("%(value)s is too large to be kept exactly."),
    }

    def __init__(self, *args: Any, decimal_places: int = 3, **kwargs: Any) -> None:
        self.decimal_places = decimal_places
        super().__init__(*args, **kwargs)

    def deconstruct(self) -> Any:
        """Keep the number of decimals in migrations."""
        name, path, args, kwargs = super().deconstruct()
        kwargs["decimal_places"] = self.decimal_places
        return name, path, args, kwargs

    def check(self, **kwargs: Any) -> list[checks.CheckMessage]:
        """Refuse a number of decimals that cannot be meant."""
        found = list(super().check(**kwargs))
        if not 0 <= self.decimal_places <= 9:
            found.append(checks.Error("decimal_places must lie between 0 and 9.", obj=self, id="plant.E001"))
        return found

    @property
    def validators(self) -> list[Any]:
        """Only the field's own validators: the whole-number range of the base class does not apply."""
        return list(self._validators)  # type: ignore[attr-defined]

    def to_python(self, value: Any) -> Decimal | None:
        """Return the value as Decimal with exactly the field's decimals."""
        if value is None:
            return None
        if isinstance(value, float):
            # A float's shortest text is what the writer meant; its binary expansion is not.
            value = repr(value)
        try:
            number = Decimal(value) if not isinstance(value, str) else Decimal(value.strip())
        except (InvalidOperation, TypeError, ValueError):
            raise self._refusal("invalid", value) from None
        if not number.is_finite():
            raise self._refusal("invalid", value)
        unit = Decimal(1).scaleb(-self.decimal_places)
        try:
            exact = number.quantize(unit)
        except InvalidOperation:
            raise self._refusal("range", value) from None
        if exact != number:
            raise self._refusal("surplus", value)
        if abs(exact.scaleb(self.decimal_places)) > MAX_UNITS:
            raise self._refusal("range", value)
        return exact

    def _refusal(self, code: str, value: Any) -> exceptions.ValidationError:
        return exceptions.ValidationError(
            self.error_messages[code], code=code, params={"value": value, "places": self.decimal_places}
        )

    def get_prep_value(self, value: Any) -> Any:
        """Return the whole number that is stored."""
        if value is None or hasattr(value, "resolve_expression"):
            return value
        return int((self.to_python(value) or Decimal(0)).scaleb(self.decimal_places))

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Decimal | None:
        """Return the stored whole number as Decimal (sums come as int or Decimal)."""
        if value is None:
            return None
        return Decimal(value).scaleb(-self.decimal_places)

    def value_to_string(self, obj: models.Model) -> str:
        """Serialise as decimal text."""
        value = self.value_from_object(obj)
        return "" if value is None else str(value)

    def formfield(self, **kwargs: Any) -> Any:
        """Show a decimal input with the right step."""
        return models.Field.formfield(
            self,
            **{"form_class": forms.DecimalField, "decimal_places": self.decimal_places, "max_digits": 18, **kwargs},
        )


class QuantityField(ExactDecimalField):
    """A quantity in thousandths of its unit."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("decimal_places", 3)
        super().__init__(*args, **kwargs)


class MoneyField(ExactDecimalField):
    """Money in hundredths of the mill's currency."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("decimal_places", 2)
        super().__init__(*args, **kwargs)


class SentencesField(models.JSONField):
    """What the program has to say, as sentences; ``{{ order.why|said }}`` puts them into words.

    It takes one sentence or several, and gives a tuple. Text is refused: what somebody typed is ``typed(text)``.
    """

    _pyi_private_set_type: Sentence | Iterable[Sentence]
    _pyi_private_get_type: Sentences

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("default", tuple)
        kwargs.setdefault("blank", True)
        super().__init__(*args, **kwargs)

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Any:
        """Return the stored sentences."""
        kept = super().from_db_value(value, expression, connection)
        return self.to_python(kept) if isinstance(kept, list) else kept

    def to_python(self, value: Any) -> Any:
        """Return sentences, also of what a fixture holds."""
        if value is None or isinstance(value, str):
            return None if value is None else all_from_json(value)
        if isinstance(value, Sentence):
            return (value,)
        return tuple(one if isinstance(one, Sentence) else all_from_json([one])[0] for one in value)

    def pre_save(self, model_instance: models.Model, add: bool) -> Any:
        """Let the object have, from now on, what it will be read with."""
        value = super().pre_save(model_instance, add)
        if value is not None and not hasattr(value, "resolve_expression"):
            value = sentences(value)
            setattr(model_instance, self.attname, value)
        return value

    def get_prep_value(self, value: Any) -> Any:
        """Return the list that is stored."""
        if value is None or hasattr(value, "resolve_expression"):
            return value
        if isinstance(value, Sentence):
            value = (value,)
        return [to_json(sentences((one,))[0]) if not isinstance(one, dict) else one for one in value]

    def value_to_string(self, obj: models.Model) -> Any:
        """Serialise as JSON."""
        return self.get_prep_value(self.value_from_object(obj))

    def formfield(self, **kwargs: Any) -> None:
        """Be part of no form: what is typed is text."""
