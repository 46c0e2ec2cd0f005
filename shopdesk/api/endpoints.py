"""What the API answers: one function for each list, all of them read-only."""

import math

from django.db.models import Prefetch
from django.utils import timezone
from ninja import Field, Query, Schema
from ninja.errors import HttpError

from billing.invoices.models import Invoice, Payment
from repairs.comebacks.forms import MAX_PERIOD, PeriodForm
from repairs.comebacks.record import comeback_report
from repairs.customers.models import Customer
from repairs.faults.models import Fault, Fix
from repairs.jobs.models import Comeback, Job, Repair
from repairs.stock.models import Part
from repairs.stock.queries import current_costs
from shopdesk.api import answers
from shopdesk.api.answers import money
from shopdesk.api.changed_since import changed_since
from shopdesk.api.json_api import api, get_list
from shopdesk.api.paging import (
    ChangedParams,
    CreatedParams,
    Day,
    Page,
    page,
    refuse_unknown,
)

__all__ = ["api"]


@get_list("/jobs", Page[answers.JobAnswer], "Jobs with their devices")
def jobs(request, params: Query[ChangedParams]):
    rows = Job.objects.filter(changed_since(Job, params.changed_since))
    rows = rows.select_related("device__model", "customer")
    return page(request, rows.prefetch_related("symptoms"), params, _job(request.shop))


def _job(shop):
    def answer(job, token):
        personal = {
            **_values(job, answers.JobPersonal),
            "customer": str(job.customer),
            "serial": job.device.serial,
        }
        device = job.device
        return {
            **_values(job, answers.JobAnswer),
            "status": job.state,
            "device": {
                **_values(device.model, answers.DeviceAnswer),
                "id": device.pk,
                "board_revision": device.board_revision,
            },
            "symptoms": [symptom.name for symptom in job.symptoms.all()],
            "agreed_diagnosis_fee": money(job.agreed_diagnosis_fee, shop.currency),
            "personal": personal if token.shows_personal_data else None,
        }

    return answer


@get_list(
    "/repairs",
    Page[answers.RepairAnswer],
    "Repairs: fault and fix of a job, what came of it, and whether it came back",
)
def repairs(request, params: Query[ChangedParams]):
    known = Comeback.objects.recorded_on(timezone.localdate()).order_by("came_back_on")
    rows = Repair.objects.filter(changed_since(Repair, params.changed_since))
    rows = rows.select_related("job", "fault", "fix", "by").prefetch_related(
        "labour", "parts_used__part", Prefetch("comebacks", known)
    )
    return page(request, rows, params, _repair(request.shop))


def _repair(shop):
    def answer(repair, token):
        costs = {
            name: money(getattr(repair, name), shop.currency)
            for name in answers.RepairCosts.model_fields
        }
        personal = {
            **_values(repair, answers.RepairPersonal),
            "technician": str(repair.by or ""),
        }
        return {
            **_values(repair, answers.RepairAnswer),
            "job": repair.job.number,
            "fault": _code_and_name(repair.fault),
            "fix": _code_and_name(repair.fix),
            "type": repair.fix_type,
            "parts": [
                {"number": used.part.number, "quantity": used.quantity}
                for used in repair.parts_used.all()
            ],
            "charged": money(repair.charged, shop.currency),
            "came_back_on": [back.came_back_on for back in repair.comebacks.all()],
            "costs": costs if token.shows_costs else None,
            "personal": personal if token.shows_personal_data else None,
        }

    return answer


class TableParams(Schema):
    as_of: Day | None = Field(None, description="As known on that day; default: today.")
    within: int | None = Field(
        None,
        ge=1,
        le=MAX_PERIOD,
        description="The comeback period in days; default: that of the shop.",
    )


@get_list(
    "/comeback-table",
    answers.ComebackTableAnswer,
    "The comeback table: a row for each pair of a fault and a fix, not paged",
)
def comeback_table(request, params: Query[TableParams]):
    refuse_unknown(request, params)
    shop, asked = request.shop, params.model_dump(exclude_none=True)
    form = PeriodForm(
        {name: str(value) for name, value in asked.items()},
        today=timezone.localdate(),
        within=shop.comeback_period_days,
    )
    if not form.is_valid():
        name, (problem, *_) = next(iter(form.errors.items()))
        raise HttpError(400, f"{name}: {problem}")
    report = comeback_report(form.scope, shop=shop)
    return {
        "as_of": report.scope.as_of,
        "within": report.scope.within,
        "limit": report.table.limit,
        "items": [_pair(row, shop, request.auth) for row in report.rows],
        "notes": report.notes,
    }


def _pair(row, shop, token):
    costs = {
        name: money(getattr(row, name), shop.currency)
        for name in answers.PairCosts.model_fields
    }
    values = _values(row, answers.PairAnswer)
    return {
        **{name: None if _is_nan(value) else value for name, value in values.items()},
        "fault": {"code": row.fault, "name": row.fault_name},
        "fix": {"code": row.fix, "name": row.fix_name},
        "type": row.fix_type,
        "costs": costs if token.shows_costs else None,
    }


def _is_nan(value) -> bool:
    return isinstance(value, float) and math.isnan(value)


@get_list("/parts", Page[answers.PartAnswer], "Parts and stock levels")
def parts(request, params: Query[ChangedParams]):
    rows = Part.objects.filter(changed_since(Part, params.changed_since))
    rows = rows.with_reserved().select_related("supplier")
    found = page(request, rows, params, _part(request.shop))
    if request.auth.shows_costs:
        costs = current_costs([item["id"] for item in found["items"]])
        for item in found["items"]:
            cost = costs.get(item["id"])
            item["costs"] = {"unit_cost": money(cost, request.shop.currency)}
    return found


def _part(shop):
    def answer(part, token):
        return {
            **_values(part, answers.PartAnswer),
            "supplier": str(part.supplier or ""),
            "in_stock": part.on_hand,
            "fixed_price": money(part.fixed_price, shop.currency),
            "costs": None,
        }

    return answer


@get_list(
    "/invoices",
    Page[answers.InvoiceAnswer],
    "Invoices and credit notes with their totals",
)
def invoices(request, params: Query[CreatedParams]):
    rows = Invoice.objects.for_list().select_related("credits").defer("credits__pdf")
    if params.created_since:
        rows = rows.filter(issued_on__gte=params.created_since)
    return page(request, rows, params, _invoice)


def _invoice(invoice, token):
    amounts = {
        name: money(getattr(invoice, name), invoice.currency)
        for name in ("net", "tax", "gross")
    }
    return {
        **_values(invoice, answers.InvoiceAnswer),
        **amounts,
        "number": invoice.full_number,
        "credits": invoice.credits and invoice.credits.full_number,
        "job": invoice.job.number,
        "balance_due": money(invoice.owed, invoice.currency),
        "status": invoice.status_on(timezone.localdate()),
        "personal": _values(invoice, answers.InvoicePersonal)
        if token.shows_personal_data
        else None,
    }


@get_list("/payments", Page[answers.PaymentAnswer], "Payments, deposits and refunds")
def payments(request, params: Query[CreatedParams]):
    rows = Payment.objects.for_list().select_related("job", "invoice", "receipt")
    if params.created_since:
        rows = rows.filter(booked_on__gte=params.created_since)
    return page(request, rows, params, _payment)


def _payment(payment, token):
    receipt = getattr(payment, "receipt", None)
    return {
        **_values(payment, answers.PaymentAnswer),
        "job": payment.job.number,
        "invoice": payment.invoice and payment.invoice.full_number,
        "receipt": receipt and receipt.full_number,
        "amount": money(payment.amount, payment.currency),
        "rounding": money(payment.rounding, payment.currency),
        "method": payment.means,
        "personal": {"text": payment.text} if token.shows_personal_data else None,
    }


@get_list(
    "/customers",
    Page[answers.CustomerAnswer],
    "Customers, only for a token with personal data",
)
def customers(request, params: Query[ChangedParams]):
    if not request.auth.shows_personal_data:
        raise HttpError(403, "This token does not show personal data.")
    rows = Customer.objects.filter(changed_since(Customer, params.changed_since))
    return page(
        request,
        rows,
        params,
        lambda customer, token: _values(customer, answers.CustomerAnswer),
    )


@get_list("/faults", Page[answers.FaultAnswer], "Faults of the fault book")
def faults(request, params: Query[ChangedParams]):
    rows = Fault.objects.filter(changed_since(Fault, params.changed_since))
    return page(request, rows.prefetch_related("symptoms", "checks"), params, _fault)


def _fault(fault, token):
    return {
        **_values(fault, answers.FaultAnswer),
        "symptoms": [symptom.name for symptom in fault.symptoms.all()],
        "checks": [check.name for check in fault.checks.all()],
    }


@get_list("/fixes", Page[answers.FixAnswer], "Fixes of the fault book")
def fixes(request, params: Query[ChangedParams]):
    rows = Fix.objects.filter(changed_since(Fix, params.changed_since))
    rows = rows.prefetch_related("faults", "usual_parts__part")
    return page(request, rows, params, _fix)


def _fix(fix, token):
    return {
        **_values(fix, answers.FixAnswer),
        "type": fix.fix_type,
        "faults": [fault.code for fault in fix.faults.all()],
        "usual_parts": [
            {"number": usual.part.number, "quantity": usual.quantity}
            for usual in fix.usual_parts.all()
        ],
    }


def _values(record, answer: type[Schema]) -> dict:
    """Return what the record itself holds of the fields of an answer."""
    names = (name for name in answer.model_fields if hasattr(record, name))
    return {name: getattr(record, name) for name in names}


def _code_and_name(entry) -> dict | None:
    return entry and {"code": entry.code, "name": entry.name}
