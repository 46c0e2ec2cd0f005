"""No form of the project accepts an amount that the currency does not have."""

import importlib
import inspect
from datetime import date
from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ValidationError

from billing.changes.forms import ChangeLineForm
from billing.day_close.forms import CashCountForm, DayCloseForm
from billing.handover.forms import HandoverForm
from billing.invoices.forms import PaymentForm
from billing.quotes.forms import LineForm
from billing.quotes.models import Quote, QuoteOption
from billing.reminders.forms import ReminderForm
from billing.repair_form.forms import ConsentForm, TermsForm
from billing.repair_form.models import RepairInformationForm
from repairs.customers.models import Customer
from repairs.history.cells import Bounds, CellError, read_cost, read_price
from repairs.intake.forms import JobForm
from repairs.jobs.models import Job
from repairs.sheet_import.written_values import AmountNotation, UnclearValueError
from repairs.stock.forms import CostForm, PartForm, ReceiveForm
from repairs.stock.models import Delivery, Part
from shopdesk.fields import MoneyFormField
from shopdesk.front.pages import SampleForm
from shopdesk.shop.forms import SettingsForm, TierForm
from shopdesk.shop.models import Shop
from shopdesk.shop.presets import preset_of
from shopdesk.shop.setting_up import NewShopForm
from shopdesk.shop.tax import STANDARD, Buyer, LineTaxes, TaxRules

pytestmark = pytest.mark.django_db
TAXES = LineTaxes(TaxRules(STANDARD, {}), Buyer())
COUNTRIES = {"JPY": "JP", "KWD": "KW"}


def builders(shop):
    """Each form that has a money field, as it is built for a shop."""
    line = {"places": shop.places, "taxes": TAXES, "name": "line"}
    in_shop = {"written_in": shop}
    country = COUNTRIES[shop.currency]
    paper = RepairInformationForm(
        option=QuoteOption(quote=Quote(currency=shop.currency))
    )
    return {
        SettingsForm: lambda: SettingsForm(instance=shop),
        TierForm: lambda: TierForm(places=shop.places),
        NewShopForm: lambda: NewShopForm(country=country, preset=preset_of(country)),
        PartForm: lambda: PartForm(shop=shop),
        ReceiveForm: lambda: ReceiveForm(part=Part(), shop=shop, sees_costs=True),
        CostForm: lambda: CostForm(delivery=Delivery(part=Part()), shop=shop),
        JobForm: lambda: JobForm(places=shop.places),
        LineForm: lambda: LineForm(**line),
        ChangeLineForm: lambda: ChangeLineForm(**line),
        PaymentForm: lambda: PaymentForm(**in_shop, due=None),
        HandoverForm: lambda: HandoverForm(
            **in_shop, due=None, job=Job(customer=Customer()), has_warranty=False
        ),
        ReminderForm: lambda: ReminderForm(**in_shop, email=""),
        DayCloseForm: lambda: DayCloseForm(**in_shop, has_opening=False),
        CashCountForm: lambda: CashCountForm(**in_shop, has_opening=False),
        TermsForm: lambda: TermsForm(instance=paper),
        ConsentForm: lambda: ConsentForm(places=shop.places),
    }


def forms_with_money():
    importlib.import_module("shopdesk.urls")  # imports all forms

    def below(cls):
        for sub in cls.__subclasses__():
            yield sub
            yield from below(sub)

    ours = {
        cls
        for cls in below(forms.BaseForm)
        if cls.__module__.startswith(("shopdesk.", "repairs.", "billing."))
    }
    return {
        cls
        for cls in ours
        if any(isinstance(f, MoneyFormField) for f in cls.base_fields.values())
        or "MoneyFormField(" in inspect.getsource(cls)
    } - {SampleForm}  # a sample of the components, which stores nothing


@pytest.mark.parametrize(
    ("currency", "good", "wrong", "sentence"),
    [
        ("JPY", "1500", "1500.5", "Enter a whole amount"),
        ("KWD", "1.505", "1.5051", "at most 3 decimal places"),
    ],
)
def test_no_form_accepts_decimals_that_the_currency_has_not(
    currency, good, wrong, sentence
):
    made = builders(Shop(currency=currency))
    assert set(made) == forms_with_money()
    for build in made.values():
        form = build()
        fields = [f for f in form.fields.values() if isinstance(f, MoneyFormField)]
        assert fields
        for field in fields:
            field.max_value = Decimal(10_000)
            assert field.clean(good) == Decimal(good)
            with pytest.raises(ValidationError, match=sentence):
                field.clean(wrong)


@pytest.mark.parametrize(("places", "wrong"), [(0, "1500.5"), (3, "1.5051")])
def test_no_import_accepts_them_either(places, wrong):
    bounds = Bounds(latest=date(2026, 3, 5), places=places, country="JP")
    sheet = AmountNotation(".", places, bounds.max_amount)
    for read in (read_price, read_cost):
        with pytest.raises(CellError, match=f"more than {places} decimal places"):
            read(wrong, bounds)
    with pytest.raises(UnclearValueError, match=f"more than {places} decimal places"):
        sheet.read(wrong)
