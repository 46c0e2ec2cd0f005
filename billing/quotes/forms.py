"""Forms by which staff draft a quote and record its answer."""

from decimal import Decimal

from django import forms
from django.utils.translation import gettext, gettext_lazy

from billing.pricing.comeback_price import margin_of
from billing.quotes.models import (
    MAX_LINES,
    MAX_PRICE,
    LineKind,
    Quote,
    QuoteLine,
    QuoteOption,
)
from shopdesk.fields import ExactFormField, MoneyFormField, use_currency
from shopdesk.look.shop_formats import money
from shopdesk.shop import tax
from shopdesk.shop.tax import LineTaxes


class QuoteFindingsForm(forms.ModelForm):
    class Meta:
        model = Quote
        fields = ["findings"]
        widgets = {"findings": forms.Textarea(attrs={"rows": 3})}


class OptionForm(forms.ModelForm):
    warranty_days = forms.IntegerField(
        label=gettext_lazy("Warranty days (0: none)"), min_value=0, max_value=3650
    )
    turnaround_days = forms.IntegerField(
        label=gettext_lazy("Turnaround days"), min_value=0, max_value=365
    )

    class Meta:
        model = QuoteOption
        fields = [
            *("title", "work_kind", "fix_type", "warranty_days", "turnaround_days"),
            *("description", "track_record", "price_reason"),
        ]
        widgets = {
            "title": forms.TextInput(attrs={"class": "w20"}),
            "description": forms.Textarea(attrs={"rows": 2}),
            "track_record": forms.Textarea(attrs={"rows": 2}),
        }
        labels = {"title": gettext_lazy("Title"), "fix_type": gettext_lazy("Type")}
        help_texts = {
            "track_record": gettext_lazy("Shown to the customer as written here.")
        }

    def __init__(self, *args, sees_costs, **kwargs):
        super().__init__(*args, **kwargs)
        if self.instance.price_reason and not sees_costs:
            # A reason may state costs, so it is kept but not shown.
            del self.fields["price_reason"]
        self.fields["fix_type"].choices = [
            ("", gettext("no repair")),
            *QuoteOption._meta.get_field("fix_type").choices,
        ]

    def clean(self):
        cleaned = super().clean()
        is_no_repair = cleaned.get("work_kind") == QuoteOption.WorkKind.RETURN
        if is_no_repair and cleaned.get("fix_type"):
            self.add_error("fix_type", gettext("Select “no repair”."))
        return cleaned


class LineForm(forms.ModelForm):
    """One line, shown as a table row whose column headers are its labels."""

    text = forms.CharField(
        label=gettext_lazy("Description"),
        max_length=200,
        widget=forms.TextInput(attrs={"class": "wide"}),
    )
    quantity = ExactFormField(
        label=gettext_lazy("Quantity"), max_value=Decimal(10_000), initial=Decimal(1)
    )
    price = MoneyFormField(
        label=gettext_lazy("Unit price"), max_value=MAX_PRICE, is_per_piece=True
    )
    tax_kind = forms.ChoiceField(label=gettext_lazy("Tax"))

    class Meta:
        model = QuoteLine
        fields = ["kind", "text", "quantity", "price", "tax_kind"]
        labels = {"kind": gettext_lazy("Kind")}

    def __init__(self, *args, places, taxes, name, **kwargs):
        super().__init__(*args, **kwargs)
        self.places = places
        self.taxes = taxes
        choices = dict(taxes.rules.in_force)
        if self.instance.pk:
            # The rate of an older line may no longer be in force.
            choices[self.instance.tax_kind] = self.instance.charged_tax
        else:
            self.initial["tax_kind"] = taxes.initial
        self.fields["tax_kind"].choices = [
            *([("", gettext("by what is sold"))] if taxes.depends_on_sold else []),
            *(
                (kind, f"{one.rate.normalize():f} %" if one.rate else tax.LABELS[kind])
                for kind, one in choices.items()
            ),
        ]
        self.fields["tax_kind"].required = not taxes.depends_on_sold
        use_currency(self, places)
        self.fields["kind"].choices = LineKind.choices
        for field in self.fields.values():
            field.widget.attrs["aria-label"] = f"{field.label}, {name}"

    def clean_quantity(self):
        quantity = self.cleaned_data["quantity"]
        if not quantity:
            raise forms.ValidationError(
                gettext("Enter a quantity, or remove the line.")
            )
        return quantity

    def clean(self):
        cleaned = super().clean()
        quantity, price = cleaned.get("quantity"), cleaned.get("price")
        if quantity and price and quantity * price > MAX_PRICE:
            self.add_error(
                "price",
                gettext("The amount of a line must not exceed {max_price}.").format(
                    max_price=f"{MAX_PRICE:,.0f}"
                ),
            )
        return cleaned

    def calculated(self):
        """Return the line as it would be saved."""
        line, chosen = self.instance, self.cleaned_data["tax_kind"]
        if not line.pk or {"kind", "tax_kind"} & set(self.changed_data):
            line.set_tax(self.taxes.chosen(chosen, sold=line.kind))
        self.instance.calculate(places=self.places)
        return self.instance

    def save(self, commit=True):
        self.calculated()
        return super().save(commit=commit)


class OptionForms:
    """The form of one option, those of its lines, and one for a new line."""

    def __init__(self, option, *, data, taxes, removed, sees_costs):
        self.option = option
        prefix = f"o{option.pk}"
        is_posted = data is not None and f"{prefix}-title" in data
        self.form = OptionForm(
            data if is_posted else None,
            instance=option,
            prefix=prefix,
            sees_costs=sees_costs,
        )
        self.lines = []
        common = {"places": option.quote.places, "taxes": taxes}
        for n, line in enumerate(option.lines.all(), 1):
            if f"line {line.pk}" != removed:
                prefix, name = (
                    f"l{line.pk}",
                    gettext("line {n} of {title}").format(n=n, title=option.title),
                )
                has_line = is_posted and f"{prefix}-text" in data
                self.lines.append(
                    LineForm(
                        data if has_line else None,
                        instance=line,
                        prefix=prefix,
                        name=name,
                        **common,
                    )
                )
        prefix = f"n{option.pk}"
        has_new = is_posted and f"{prefix}-text" in data
        last = max((form.instance.position for form in self.lines), default=0)
        self.new = LineForm(
            data if has_new else None,
            instance=QuoteLine(option=option, position=last + 1),
            initial={"kind": LineKind.LABOUR, "quantity": 1},
            prefix=prefix,
            name=gettext("a new line of {title}").format(title=option.title),
            empty_permitted=True,
            use_required_attribute=False,
            **common,
        )

    @property
    def entered_lines(self):
        """Return the lines as entered, without invalid ones."""
        forms = list(self.lines)
        if self.new.is_bound and self.new.has_changed():
            forms.append(self.new)
        unchanged = [form.instance for form in forms if not form.is_bound]
        entered = [form for form in forms if form.is_bound and form.is_valid()]
        return unchanged + [form.calculated() for form in entered]

    @property
    def above_suggestion(self):
        """Return how much more than suggested is entered (negative: less)."""
        return self.option.above_suggestion(self.entered_lines)

    @property
    def below_suggestion(self):
        above = self.above_suggestion
        return -above if above is not None and above < 0 else None

    @property
    def margin(self):
        """Return the margin in percent at the price entered, comebacks included."""
        if self.option.own_cost is None:
            return None
        cost = self.option.own_cost + (self.option.comeback_allowance or 0)
        return margin_of(self.totals().net, cost=cost)

    @property
    def is_full(self):
        return len(self.lines) >= MAX_LINES

    @property
    def all(self):
        """Return the forms of option, lines, and the new line if there is room."""
        return [self.form, *self.lines, *([] if self.is_full else [self.new])]

    def totals(self):
        """Return the totals of what is entered, without invalid lines."""
        return self.option.quote.totals_of(self.entered_lines)


class DraftForms:
    """All forms on the page of a draft, sent together so that no entry is lost."""

    def __init__(self, quote, *, shop, on, sees_costs, data=None, removed=""):
        self.findings = QuoteFindingsForm(
            data if data is not None and "q-findings" in data else None,
            instance=quote,
            prefix="q",
        )
        facts = {
            "data": data,
            "taxes": LineTaxes(shop.tax_rules(on), quote.job.customer.as_buyer),
            "removed": removed,
            "sees_costs": sees_costs,
        }
        self.options = [
            OptionForms(option, **facts)
            for option in quote.options.prefetch_related("lines__part")
            if f"option {option.pk}" != removed
        ]

    @property
    def all(self):
        return [self.findings, *(form for one in self.options for form in one.all)]

    def is_valid(self):
        return all([form.is_valid() for form in self.all if form.is_bound])

    def has_reasons(self):
        """Whether every price is as suggested or has a reason; else add an error."""
        for forms_ in self.options:
            form = forms_.form
            needs_reason = form.is_bound and forms_.above_suggestion
            if needs_reason and not form.instance.price_reason.strip():
                form.add_error(
                    "price_reason",
                    gettext("The price differs from the suggestion. Enter a reason."),
                )
        return self.is_valid()

    def save(self):
        for form in self.all:
            if form.is_bound and form.has_changed():
                form.save()

    @property
    def changed_warranty(self):
        """Return the options whose warranty days were changed."""
        return [
            forms_.option
            for forms_ in self.options
            if forms_.form.is_bound and "warranty_days" in forms_.form.changed_data
        ]


class OptionChoice(forms.ModelChoiceField):
    """The options of a quote, each with its total; a single one is selected."""

    def offer(self, quote, *, written_in):
        options = quote.options.prefetch_related("lines")
        self.written_in = written_in
        self.queryset = options
        if len(options) == 1:
            self.initial = options[0].pk

    def label_from_instance(self, option):
        total = option.totals().gross
        return f"{option.title}: {money(total, self.written_in)}"


class RecordAnswerForm(forms.Form):
    who = forms.CharField(label=gettext_lazy("Answered by"), max_length=120)
    how = forms.ChoiceField(label=gettext_lazy("How"), choices=Quote.How.choices)

    def __init__(self, quote, *args, written_in, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["who"].initial = quote.job.customer.name
        if "option" in self.fields:
            self.fields["option"].offer(quote, written_in=written_in)


class RecordAcceptanceForm(RecordAnswerForm):
    option = OptionChoice(
        QuoteOption.objects.none(), widget=forms.RadioSelect, empty_label=None
    )
    field_order = ["option", "who", "how"]


class RecordDeclineForm(RecordAnswerForm):
    why = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=500,
        help_text=gettext_lazy(
            "In the customer’s words: too expensive, not worth it, not now."
        ),
    )
    field_order = ["why", "who", "how"]
