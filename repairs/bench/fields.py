"""Boxes into which a record is typed or scanned, by its code or by words."""

from django import forms
from django.core.exceptions import ValidationError

from repairs.faults.models import Fault, Fix
from repairs.stock.models import Part
from shopdesk.lookup import normalize_search


class CodeOrNameField(forms.CharField):
    """Text that names one record: by its code, or else by words in code and name.

    `datalist` is the id of the list of suggestions on the page.
    """

    model = None
    noun = ""
    code = "code"

    def __init__(self, *, datalist="", **kwargs):
        kwargs.setdefault("max_length", 200)
        super().__init__(**kwargs)
        self.widget.attrs |= {
            "autocomplete": "off",
            "autocapitalize": "off",
            "spellcheck": "false",
            "class": "w20",
        }
        if datalist:
            self.widget.attrs["list"] = datalist

    def records(self):
        return self.model.objects.filter(is_retired=False)

    def matching(self, text):
        """Those of this code, or else those in which every word is found."""
        first = text.split()[0]
        for code in (text, first):
            exact = list(self.records().filter(**{f"{self.code}__iexact": code})[:1])
            if exact:
                return exact
        words = normalize_search(text).split()
        return [
            record
            for record in self.records()
            if all(
                word in normalize_search(f"{getattr(record, self.code)} {record.name}")
                for word in words
            )
        ]

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        found = self.matching(text)
        if not found:
            raise ValidationError(f"No {self.noun} found for “{text}”.", code="unknown")
        if len(found) > 1:
            codes = ", ".join(getattr(record, self.code) for record in found[:6])
            more = " and more" if len(found) > 6 else ""
            raise ValidationError(
                f"More than one {self.noun} found: {codes}{more}. Enter the"
                f" {self.code}.",
                code="several",
            )
        return found[0]


class FaultField(CodeOrNameField):
    model, noun = Fault, "fault"


class FixField(CodeOrNameField):
    model, noun = Fix, "fix"


class PartField(CodeOrNameField):
    """A part by our number, by its maker's or a supplier's, or by words."""

    model, noun, code = Part, "part", "number"

    def matching(self, text):
        for number in ("number", "maker_number", "supplier_number"):
            found = list(self.records().filter(**{f"{number}__iexact": text})[:2])
            if found:
                return found
        first = list(self.records().filter(number__iexact=text.split()[0])[:1])
        return first or list(self.records().containing(text)[:7])
