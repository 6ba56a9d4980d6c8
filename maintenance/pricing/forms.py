"""The price of waiting: every assumption is shown and may be changed."""

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from maintenance.frame.fields import KeyField, MeasureField
from maintenance.losses.price_of_waiting import KINDS
from maintenance.losses.waiting_loss import Assumptions, Price, Worth, price
from maintenance.pricing.prefill import Proposal, grounds_of
from maintenance.pricing.words import HINTS, LABELS, own_first, scale_of
from plant.frame.measures import InUnitField
from plant.frame.units import volume_scale
from plant.models import Mill

MOST = Decimal(1_000_000)
# What cannot be more than something else, and how that is said at its field.
NEVER_MORE = (
    ("wet_bulb_c", "dry_bulb_c", _("A wet bulb is never warmer than the dry bulb.")),
    ("wet_bulb_shown_c", "dry_bulb_c", _("A wet bulb is never warmer than the dry bulb.")),
    ("outside_c", "dry_bulb_c", _("It is warmer outside than in the chamber: then nothing is lost.")),
    ("ambient_c", "pipe_c", _("The air is warmer than the pipe: then nothing is lost.")),
    ("replaced_c", "water_c", _("It is warmer than the hot water: then nothing is lost.")),
    ("u_sound_w_m2k", "u_now_w_m2k", _("A sound wall lets less heat through than this one.")),
    ("affected_fans", "fans", _("The kiln has fewer fans than that.")),
)


class PriceForm(forms.Form):
    """Assumptions of one kind of loss, and what heat and timber are worth; ``price`` is worked out in ``clean``."""

    key = KeyField()
    # The price that was the last one when the form was opened: 0 for none.
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(
        self,
        data: Any = None,
        *,
        loss: str,
        proposals: Mapping[str, Proposal],
        mill: Mill,
        seen: int,
        was_measured: bool = False,
    ) -> None:
        super().__init__(data)
        self.loss = loss
        self.mill = mill
        self.proposals = proposals
        self.price: Price | None = None
        self.terms: Assumptions | None = None
        self.worth: Worth | None = None
        self.fields["seen"].initial = seen
        self.shared: list[str] = []
        for one in own_first(loss):
            self.fields[one.name] = _field(one, proposals[one.name], mill)
        self.own_names = [one.name for one in own_first(loss)]
        for name, field in _worth_fields(proposals["kiln_m3_per_day"], mill).items():
            self.fields[name] = field
            self.shared.append(name)
        if KINDS[loss].HAS_LEAST:
            self.fields["is_measured"] = forms.BooleanField(
                required=False,
                initial=was_measured,
                label=_("Sizes and climate were measured at the kiln, not guessed"),
                help_text=_("Only then is a part of the price called “at least”."),
            )

    @property
    def own_fields(self) -> list[forms.BoundField]:
        """What the kind of loss rests on."""
        return [self[name] for name in self.own_names]

    @property
    def worth_fields(self) -> list[forms.BoundField]:
        """What heat and timber are worth."""
        return [self[name] for name in self.shared]

    def kept_assumptions(self) -> dict[str, str]:
        """Return the assumptions as a price keeps them."""
        return {name: str(self.cleaned_data[name]) for name in self.own_names}

    def clean(self) -> dict[str, Any]:
        """Work the price out; what contradicts itself is said."""
        values = self.cleaned_data
        for name, most, said in NEVER_MORE:
            if values.get(name) is not None and values.get(most) is not None and values[name] > values[most]:
                self.add_error(name, said)
        if self.errors:
            return values
        try:
            self.terms = KINDS[self.loss](**{one.name: float(values[one.name]) for one in fields(KINDS[self.loss])})
            heat, timber, rate = (values[name] for name in ("energy_price_per_kwh", "margin_per_m3", "kiln_m3_per_day"))
            self.worth = Worth(heat, timber, rate, self.mill.pressure_pa)
            grounds = grounds_of(self.proposals, values, is_measured=bool(values.get("is_measured")))
            self.price = price(self.terms, self.worth, grounds)
        except ValueError as fault:
            self.add_error(
                None,
                _now("These figures cannot all be right: %(why)s. Look at them again.") % {"why": fault},
            )
        return values


def _field(one: Any, proposal: Proposal, mill: Mill) -> InUnitField:
    told = one.metadata
    scale = scale_of(told["unit"], told["decimals"], mill)
    label = f"{LABELS[one.name]}, {scale.unit}" if scale.unit else str(LABELS[one.name])
    value = None if proposal.value is None else proposal.value
    return InUnitField(
        scale=scale,
        least=Decimal(str(told["low"])),
        most=Decimal(str(told["high"])),
        present=value,
        initial=value,
        label=label,
        help_text=" ".join(part for part in (proposal.why, str(HINTS.get(one.name, ""))) if part),
    )


def _worth_fields(rate: Proposal, mill: Mill) -> dict[str, forms.Field]:
    volume = volume_scale(mill)
    money = {"min_value": Decimal(0), "max_value": MOST, "widget": _decimal_input()}
    return {
        "kiln_m3_per_day": InUnitField(
            scale=volume,
            least=Decimal(0),
            most=Decimal(5000),
            present=rate.value,
            initial=rate.value,
            label=_now("What the kiln dries a day, %(unit)s") % {"unit": volume.unit},
            help_text=rate.why,
        ),
        "energy_price_per_kwh": MeasureField(
            label=_("Energy price per kWh of heat"),
            decimal_places=4,
            initial=mill.energy_price_per_kwh,
            help_text=_("The mill's own figure, in its settings."),
            **money,
        ),
        "margin_per_m3": MeasureField(
            label=_("Margin per m³ dried"),
            decimal_places=2,
            initial=mill.drying_margin_per_m3,
            help_text=_("The mill's own figure, in its settings."),
            **money,
        ),
    }


def _decimal_input() -> forms.TextInput:
    return forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
