"""Builders: the smallest right record, and what a test wants to say about it."""

from datetime import date, datetime, time
from decimal import Decimal
from itertools import count

from django.utils import timezone

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Comeback, Job, Repair, ReturnAssessment
from repairs.stock.models import Delivery, Part, StockMovement
from shopdesk.shop import tax
from shopdesk.shop.models import Shop, TaxRate
from shopdesk.staff.models import Role, User
from shopdesk.stamp import Stamp

_next = count(1)
DAY = date(2026, 3, 2)


def shop(*, tax_rate=None, **facts):
    """The shop; `tax_rate` is what it has always charged, 0 for a zero rate."""
    if tax_rate:
        TaxRate.objects.update_or_create(
            kind=tax.STANDARD, starts_on=date(1990, 1, 1), defaults={"rate": tax_rate}
        )
    if tax_rate is not None:
        facts["tax_kind"] = tax.STANDARD if tax_rate else tax.ZERO
    facts.setdefault("set_up_on", DAY)
    return Shop.objects.update_or_create(pk=1, defaults=facts)[0]


def stamp(on=None, by=None):
    """A moment of that day, or this one, and who acts."""
    if on is None:
        return Stamp.now(by)
    return Stamp(timezone.make_aware(datetime.combine(on, time(12))), by)


def user(role=Role.OWNER, **facts):
    n = next(_next)
    person = User(username=f"person{n}", name=f"Person {n}", role=role)
    for name, value in facts.items():
        setattr(person, name, value)
    person.set_unusable_password()
    person.save()
    return person


def customer(name="Ada Fenwick", **facts):
    return Customer.objects.create(name=name, **facts)


def device_model(kind="laptop", maker="Norwind", model="Slate 14", **facts):
    return DeviceModel.objects.get_or_create(
        kind=kind, maker=maker, model=model, defaults=facts
    )[0]


def device(owner=None, model=None, serial=None, **facts):
    return Device.objects.create(
        owner=owner or customer(),
        model=model or device_model(),
        serial=f"SN{next(_next):06d}" if serial is None else serial,
        **facts,
    )


def fault(code=None, name="Charging socket loose", **facts):
    return Fault.objects.create(code=code or f"PWR-{next(_next)}", name=name, **facts)


def fix(*faults, code=None, name="Replace the socket", **facts):
    made = Fix.objects.create(code=code or f"FIX-{next(_next)}", name=name, **facts)
    made.faults.add(*faults)
    return made


def job(of=None, on=DAY, **facts):
    """A job just booked in."""
    of = of or device()
    facts.setdefault("customer", of.owner)
    facts.setdefault("number", f"T-{next(_next):05d}")
    return Job.objects.create(device=of, booked_in_on=on, **facts)


def repair(of=None, fault_=None, **facts):
    of = of or job()
    facts.setdefault("handed_over_on", of.handed_over_on)
    return Repair.objects.create(job=of, fault=fault_ or fault(), **facts)


def hand_over(of, *, on, outcome=states.FIXED):
    """The device of the job `of` leaves on that day, whatever state the job is in."""
    Job.objects.filter(pk=of.pk).update(
        state=states.HANDED_OVER, outcome=outcome, handed_over_on=on
    )
    of.repairs.update(handed_over_on=on)
    Comeback.objects.write(of)
    of.refresh_from_db()


def past_repair(fault_, fix_, *, on, back_on=None, of=None, **facts):
    """A finished repair handed over on `on`; with `back_on`, its comeback.

    Returns the repair. The comeback is a job booked in on `back_on`, decided that day.
    """
    of = of or device()
    done = job(
        of,
        on=on,
        state=states.HANDED_OVER,
        outcome=states.FIXED,
        handed_over_on=on,
    )
    facts = {"fix_type": fix_.fix_type, "outcome": states.FIXED} | facts
    made = Repair.objects.create(
        job=done, fault=fault_, fix=fix_, handed_over_on=on, **facts
    )
    if back_on:
        comeback(made, on=back_on)
    return made


def comeback(
    earlier, *, on, assessment=states.SAME_FAULT, is_in_warranty=True, **facts
):
    """The device of `earlier` comes in on `on`, decided the same day."""
    again = job(earlier.job.device, on=on)
    is_in_warranty = is_in_warranty and assessment == states.SAME_FAULT
    return decision(
        again, earlier, assessment=assessment, is_in_warranty=is_in_warranty, **facts
    )


def decision(visit, earlier, *, assessment=states.SAME_FAULT, on=None, **facts):
    """Decided on that day, or on the day the device came in."""
    made = ReturnAssessment.objects.create(
        job=visit,
        earlier=earlier,
        assessment=assessment,
        assessed_on=on or visit.booked_in_on,
        **facts,
    )
    Comeback.objects.write(visit)
    return made


def part(number=None, on_hand=0, unit_cost=Decimal("2.50"), **facts):
    """A part; with `on_hand`, one delivery of that many."""
    facts.setdefault("name", "socket, 5 pin")
    made = Part.objects.create(number=number or f"P-{next(_next):04d}", **facts)
    if on_hand:
        delivery(made, on_hand, unit_cost=unit_cost)
        made.refresh_from_db()
    return made


def delivery(of, quantity, *, unit_cost=Decimal("2.50"), on=DAY, **facts):
    from django.db.models import F

    made = Delivery.objects.create(
        part=of,
        quantity=quantity,
        remaining=quantity,
        unit_cost=unit_cost,
        received_on=on,
        **facts,
    )
    StockMovement.objects.create(
        part=of,
        delivery=made,
        kind=StockMovement.Kind.RECEIVED,
        quantity=quantity,
        moved_at=timezone.now(),
    )
    Part.objects.filter(pk=of.pk).update(on_hand=F("on_hand") + quantity)
    return made


def redone(repair, amount, *, on):
    """The comeback of `repair`, handed over on `on` after work of that cost."""
    job = repair.later_assessments.get().job
    Repair.objects.create(
        job=job,
        fault=repair.fault,
        fix=repair.fix,
        outcome=states.FIXED,
        fix_type="lasting",
        cost=Decimal(amount),
    )
    hand_over(job, on=on)
