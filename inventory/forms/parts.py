"""Forms for what is written about a part and on what terms it is delivered."""

import json
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.actions.parts import PARTICULARS, TERMS, figures, taken_code
from inventory.models import Bin, Part, Supplier, SupplierTerms
from plant.frame.requests import renew


class _SeenForm(forms.ModelForm):  # type: ignore[type-arg]
    """Carries what its editor saw, so that nobody's change is overwritten unseen."""

    seen = forms.JSONField(widget=forms.HiddenInput, required=False)
    names: tuple[str, ...] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        saved = self.instance if self.instance.pk else None
        self.initial["seen"] = figures(saved, self.names)

    def clean_seen(self) -> dict[str, str]:
        """Take anything but a set of named figures for nothing seen."""
        seen = self.cleaned_data["seen"]
        return seen if isinstance(seen, dict) else {}

    def renew(self) -> None:
        """After a refusal the form belongs to what is stored now; what was typed stays."""
        saved = type(self.instance).objects.filter(pk=self.instance.pk).first()
        renew(self, seen=json.dumps(figures(saved, self.names)))


class PartForm(_SeenForm):
    """A part's particulars."""

    names = PARTICULARS

    class Meta:
        model = Part
        labels = {"bin": _("Bin")}
        fields = ["name", "bin", "unit", "criticality", "shelf_life_days", "fits", "is_active"]
        widgets = {"fits": forms.CheckboxSelectMultiple}
        help_texts = {
            "unit": _("What it is counted or measured in: piece, set, m, l, kg."),
            "criticality": _("What the kiln does when the part is missing; it decides how certain the stock must be."),
            "shelf_life_days": _("Empty where it keeps."),
            "is_active": _("A part that is not kept any more is not ordered any more."),
        }


class _NewForm(forms.ModelForm):  # type: ignore[type-arg]
    """Something new, with a code that is its name in files and addresses for good."""

    def clean_code(self) -> str:
        """Refuse a code that stands for something already, in words that name it."""
        code = str(self.cleaned_data["code"])
        if taken := taken_code(self._meta.model, code):
            raise forms.ValidationError(taken, code="taken")
        return code


CODE_HELP = _("Short and for good: letters, figures and hyphens. It names it in files, addresses and on labels.")
CODE_ERRORS = {"invalid": _("Write letters, figures and hyphens only, without a space: fan-bearing-6308.")}


class NewPartForm(_NewForm):
    """A part that the mill is to keep."""

    class Meta:
        model = Part
        fields = ["code", "name", "kind", "bin", "unit", "criticality", "shelf_life_days", "fits"]
        widgets = {"fits": forms.CheckboxSelectMultiple}
        labels = {**PartForm.Meta.labels, "kind": _("Answers to")}
        help_texts = {
            **PartForm.Meta.help_texts,
            "code": CODE_HELP,
            "kind": _("What task sheets ask for; work orders then reserve this part. May stay empty."),
        }
        error_messages = {"code": CODE_ERRORS}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].empty_label = _("nothing in particular")  # type: ignore[attr-defined]
        self.fields["bin"].empty_label = _("choose a bin")  # type: ignore[attr-defined]


class NewBinForm(_NewForm):
    """A new bin of the stores."""

    class Meta:
        model = Bin
        fields = ["code", "place"]
        help_texts = {"code": _("As it stands on the shelf."), "place": _("Where to look: rack, wall, cabinet.")}


class NewSupplierForm(_NewForm):
    """Somebody new who delivers."""

    class Meta:
        model = Supplier
        fields = ["code", "name", "email", "phone"]
        help_texts = {"code": CODE_HELP}
        error_messages = {"code": CODE_ERRORS}


class TermsForm(_SeenForm):
    """The terms of one supplier for one part."""

    names = TERMS

    class Meta:
        model = SupplierTerms
        labels = {"supplier": _("Supplier")}
        fields = ["supplier", *TERMS]
        help_texts = {
            "lead_time_days": _("From sending the order to goods in."),
            "lead_time_sd_days": _("Two of three deliveries come within so many days of it. 0 where it never varies."),
            "pack_size": _("Only whole packs are ordered."),
        }

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.part = part
        if self.instance.pk:
            self.fields["supplier"].disabled = True
        else:
            others = Supplier.objects.exclude(terms__part=part)
            self.fields["supplier"].queryset = others  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Refuse what no supplier can mean."""
        data: dict[str, Any] = super().clean() or {}
        for name in ("lead_time_days", "lead_time_sd_days", "least_order", "unit_price"):
            if data.get(name) is not None and data[name] < 0:
                self.add_error(name, forms.ValidationError(_("Write 0 or more."), code="negative"))
        if data.get("pack_size") is not None and data["pack_size"] <= 0:
            self.add_error("pack_size", forms.ValidationError(_("Write a number above 0."), code="no_pack"))
        return data

    def _get_validation_exclusions(self) -> set[str]:
        # The action moves the mark from the former preferred supplier: the model must not refuse a second one here.
        return {*super()._get_validation_exclusions(), "is_preferred"}  # type: ignore[misc]
