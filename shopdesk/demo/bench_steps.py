"""What counter and bench of the demo shop do with a device, step by step.

A step takes the story, the job and how many days ago the job came in; `how` is the text
after the colon in jobs.csv.
"""

import random
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count

from repairs.bench import actions as bench
from repairs.customers.models import Customer, Device, DeviceModel
from repairs.diagnosis.actions import record_result
from repairs.faults.fix_types import STOPGAP
from repairs.faults.models import Check, Fault, Fix, Symptom, UsualPart
from repairs.intake import actions as intake
from repairs.jobs import states, warranty, workflow
from repairs.jobs.actions import use_part
from repairs.jobs.bench_notation import (
    parse_expected,
    parse_reading,
    to_stored,
    with_unit_of,
)
from repairs.jobs.models import Job, Reading, Repair
from repairs.photos.actions import add_photos, create_link
from repairs.photos.models import usual_stage
from repairs.photos.reencode import reencode
from repairs.returns.actions import assess_return
from shopdesk.demo.boards import board_photo
from shopdesk.demo.facts import CHECKS, FAULTS, KINDS, MODELS, TEST_POINTS, words
from shopdesk.demo.story import Story, step
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

DAMAGE_CAPTIONS = {
    "burnt": "Burnt area beside the regulator",
    "corroded": "Residue of liquid below the connector",
}

# --- at the counter -------------------------------------------------------------------


def _book_in(
    story: Story,
    device: Device,
    customer: Customer,
    *,
    days: int,
    is_expected: bool = False,
    earlier_repair: Repair | None = None,
    **facts: object,
) -> Job:
    stamp = story.stamp(days, 9, story.counter)
    job, _ = intake.book_in(
        story.key(),
        customer=customer,
        device=device,
        job=Job(
            data_access=Job.DataAccess.NO,
            place="" if is_expected else f"{'ABCD'[days % 4]}{days % 7 + 1}",
            **facts,
        ),
        is_expected=is_expected,
        earlier_repair=earlier_repair,
        stamp=stamp,
    )
    return job


def book_in(story: Story, code: str, days: int, *, is_expected: bool) -> Job:
    """Book in a new device with a complaint typical of this fault."""
    facts = FAULTS[code]
    kind = story.pick.choice(facts.kinds)
    model = story.pick.choice([m for m in MODELS.values() if m.kind == kind])
    serial = f"{model.maker[:2].upper()}Q{story.pick.randrange(10**7):07d}"
    by_post = is_expected or story.pick.random() < 0.2
    tries = story.pick.choice((3, 5, 10))
    device_model, _ = DeviceModel.objects.get_or_create(
        kind=kind, maker=model.maker, model=model.model
    )
    return _book_in(
        story,
        Device(model=device_model, serial=serial),
        story.next_customer(),
        days=days,
        is_expected=is_expected,
        complaint=story.pick.choice(facts.complaints),
        occurs_when=story.pick.choice(("always", "when warm", "when moved", "")),
        came_by=Job.CameBy.POST if by_post else Job.CameBy.COUNTER,
        accessories=story.pick.choice(KINDS[kind].accessories),
        condition="" if is_expected else story.pick.choice(words("condition")),
        counter_tries=None if by_post else tries,
        counter_failures=None if by_post else story.pick.randint(1, tries),
        has_liquid_damage=facts.area == "liquid",
        has_swollen_battery=facts.mode == "swollen",
        has_mains_voltage=KINDS[kind].runs_on == "mains",
        agreed_diagnosis_fee=Decimal(25),
    )


# --- at the bench ---------------------------------------------------------------------


def diagnose(story: Story, job: Job, days: int, code: str) -> None:
    """Reproduce the fault, take a reading, and record the diagnosis."""
    verify(story, job, days, code)
    complete_diagnosis(story, job, days, code)


def verify(story: Story, job: Job, days: int, code: str) -> None:
    stamp = story.stamp(days - 1, 13, story.bench)
    tries = story.pick.choice((3, 5, 5))
    bench.save_findings(
        job,
        failed=tries - story.pick.choice((0, 0, 1)),
        tries=tries,
        symptoms=Symptom.objects.filter(name=FAULTS[code].symptom),
        notes="Fault reproduced as described by the customer.",
        version=None,
        stamp=stamp,
    )
    _measure(job, stage=Reading.Stage.BEFORE, stamp=stamp)


def complete_diagnosis(story: Story, job: Job, days: int, code: str) -> None:
    stamp = story.stamp(days - 1, 13, story.bench)
    for name, chances in list(CHECKS[code].items())[:1]:
        result = max(chances, key=chances.get)
        check = Check.objects.get(name=name)
        record_result(job, check=check, result=result, stamp=stamp)
    fault = Fault.objects.get(code=code)
    # A return with the same fault has it already.
    diagnosed = job.repairs.filter(fault=fault).first()
    diagnosed = diagnosed or bench.add_fault(job, fault=fault, stamp=stamp)
    minutes = story.pick.randrange(10, 25)
    _add_labour(job, diagnosed, minutes=minutes, note="diagnosis", stamp=stamp)
    workflow.diagnose(job, stamp=stamp)


def _measure(job: Job, *, stage: str, stamp: Stamp) -> None:
    """Measure the usual test points; before a repair one of them is bad."""
    # Not the story's generator: what it draws next stays the same.
    pick = random.Random(f"{job.number} {stage}")
    points = TEST_POINTS[job.device.model.kind]
    bad = pick.choice(points) if stage == Reading.Stage.BEFORE else None
    for point in points:
        reading = parse_reading(point.bad if point is bad else point.good)
        scale = parse_reading(point.good).amount / Decimal(point.good.split()[0])
        noise = Decimal(round(pick.gauss(0, float(point.spread)), 3)) * scale
        if point is not bad:
            reading = replace(reading, amount=round(reading.amount + noise, 4))
        expected = with_unit_of(parse_expected(point.expected), reading)
        bench.add_reading(
            job,
            test_point=point.point,
            stage=stage,
            at_hertz=None,
            relation=reading.relation,
            is_diode=reading.is_diode,
            expects_open=expected.is_open,
            stamp=stamp,
            **to_stored(reading, expected)._asdict(),
        )


def _add_labour(
    job: Job, repair: Repair, *, minutes: int, stamp: Stamp, note: str = ""
) -> None:
    bench.add_labour(
        job,
        repair=repair,
        minutes=minutes,
        is_billable=True,
        note=note,
        stamp=stamp,
    )


@step
def wait(story: Story, job: Job, days: int, how: str = "") -> None:
    """Wait for parts or the customer; after an answer, stop waiting."""
    usual = UsualPart.objects.filter(fix__faults__repairs__job=job)
    part = usual.values_list("part__number", flat=True).first()
    bench.save_details(
        job,
        waiting_for=how,
        waiting_note=part or "" if how == Job.WaitingFor.PARTS else "",
        assigned_to=story.bench,
        due_on=story.day(-story.pick.randrange(1, 6)),
        version=None,
        stamp=Stamp(story.moment, story.bench),
    )


@step
def photograph(story: Story, job: Job, days: int, damage: str) -> None:
    """Add a photo of the whole board and one of its damage, from a phone."""
    stamp = Stamp(story.moment, story.bench)
    link, _ = create_link(job, stamp=stamp)
    stage = usual_stage(job)
    for shown, caption in (("", "Whole board"), (damage, DAMAGE_CAPTIONS[damage])):
        picture = reencode(board_photo(job.pk, damage=shown))
        facts = {"stage": stage, "caption": caption, "link": link}
        add_photos(job, [picture], stamp=stamp, **facts)


@step
def start_timer(story: Story, job: Job, days: int) -> None:
    stamp = Stamp(story.now - timedelta(minutes=24), story.bench)
    bench.start_timer(job, repair=job.repairs.get(), stamp=stamp)


@step
def repair(story: Story, job: Job, days: int) -> None:
    """Complete each fix with its usual parts and about its usual minutes."""
    stamp = story.stamp(days - 3, 14, story.bench)
    for on_bench in job.repairs.select_related("fix"):
        for usual in on_bench.fix.usual_parts.select_related("part"):
            use_part(on_bench, part=usual.part, quantity=usual.quantity, stamp=stamp)
        minutes = on_bench.fix.minutes + story.pick.randrange(-5, 12)
        _add_labour(job, on_bench, minutes=minutes, stamp=stamp)
    workflow.mark_repaired(job, stamp=stamp)
    _measure(job, stage=Reading.Stage.AFTER, stamp=stamp)


@step
def final_test(story: Story, job: Job, days: int) -> None:
    """Pass the final test of each repair."""
    stamp, shop = story.stamp(days - 3, 17, story.bench), Shop.current()
    for on_bench in job.repairs.to_be_fixed():
        tries = on_bench.passes_needed(shop)
        bench.record_final_test(
            on_bench, tries=tries, failed=0, note="", shop=shop, stamp=stamp
        )


@step
def fail_final_test(story: Story, job: Job, days: int) -> None:
    stamp = story.stamp(days - 4, 11, story.bench)
    bench.record_final_test(
        job.repairs.get(),
        tries=6,
        failed=1,
        note="fault showed again when warm",
        shop=Shop.current(),
        stamp=stamp,
    )


@step
def close(story: Story, job: Job, days: int) -> None:
    """Close the job with all its repairs fixed."""
    stamp = story.stamp(days - 4, 10, story.bench)
    repairs = {
        on_bench: {
            "outcome": states.FIXED,
            "fix_type": on_bench.fix_type or on_bench.fix.fix_type,
            "no_part_needed": not on_bench.fix.needs_parts,
            **_life(on_bench, stamp),
        }
        for on_bench in job.repairs.select_related("fix")
    }
    bench.close_fixed(job, repairs=repairs, why="", version=None, stamp=stamp)


def _life(repair: Repair, stamp: Stamp) -> dict:
    """Return how long a stopgap is expected to last."""
    if STOPGAP not in (repair.fix_type, repair.fix.fix_type):
        return {}
    return {"expected_days": 42, "ask_on": stamp.on + timedelta(days=42)}


@step
def close_as_no_fault_found(story: Story, job: Job, days: int) -> None:
    stamp = story.stamp(days - 1, 15, story.bench)
    why = "Ran for four hours under load without a shutdown."
    workflow.close(job, outcome=states.NO_FAULT_FOUND, stamp=stamp, why=why)


@step
def close_as_not_repairable(story: Story, job: Job, days: int) -> None:
    stamp = story.stamp(days - 2, 15, story.bench)
    why = "Board corroded through under three chips."
    workflow.close(job, outcome=states.NOT_REPAIRABLE, stamp=stamp, why=why)


@step
def close_as_declined(story: Story, job: Job, days: int) -> None:
    stamp = story.stamp(days - 4, 9, story.counter)
    workflow.close(job, outcome=states.DECLINED_BY_CUSTOMER, stamp=stamp)


@step
def mark_uncollected(story: Story, job: Job, days: int) -> None:
    """Ready for a month, the device has not been collected."""
    job.uncollected_since = story.day(days - 4 - 30)
    job.save(update_fields=["uncollected_since"])


# --- returns --------------------------------------------------------------------------


def book_in_return(story: Story, assessment: str, *, is_repaired: bool) -> None:
    """Book in a device repaired some weeks ago; assess its return as `what`."""
    days = story.pick.randrange(2, 5)
    earlier = _earlier_repair(story, before=story.day(days))
    device = earlier.job.device
    job = _book_in(
        story,
        device,
        device.owner,
        days=days,
        earlier_repair=earlier,
        complaint="I think it is the same fault again.",
        occurs_when="when moved",
        accessories="nothing",
        condition="good",
        has_mains_voltage=KINDS[device.model.kind].runs_on == "mains",
    )
    if assessment == states.UNDECIDED:
        return
    verify(story, job, days, earlier.fault.code)
    stamp = story.stamp(days - 1, 13, story.bench)
    is_in_warranty = warranty.is_in_warranty(
        story.day(days), until=earlier.warranty_until
    )
    assess_return(
        job,
        earlier=earlier,
        assessment=assessment,
        is_in_warranty=assessment == states.SAME_FAULT and is_in_warranty,
        why="Socket is bent." if assessment == states.HANDLING_DAMAGE else "",
        stamp=stamp,
    )
    if assessment != states.SAME_FAULT:
        return
    complete_diagnosis(story, job, days, earlier.fault.code)
    stamp = story.stamp(days - 1, 15, story.bench)
    workflow.approve_warranty_repair(job, stamp=stamp)
    if is_repaired:
        stamp = story.stamp(days - 1, 16, story.bench)
        fixes = Fix.objects.filter(faults=earlier.fault, fix_type="lasting")
        fix = fixes.order_by("-minutes").first()
        bench.select_fix(job.repairs.get(), fix=fix, version=None, stamp=stamp)
        repair(story, job, days + 1)


def _earlier_repair(story: Story, *, before: date) -> Repair:
    """Return a recent repair in warranty whose device has been here only once."""
    repairs = (
        Repair.objects.filter(
            outcome=states.FIXED,
            job__is_from_history=True,
            job__handed_over_on__lt=before - timedelta(days=8),
            job__handed_over_on__gt=before - timedelta(days=120),
            warranty_until__gte=before,
        )
        .annotate(visits=Count("job__device__jobs", distinct=True))
        .filter(visits=1)
        .select_related("job__device__owner", "job__device__model", "fault")
    )
    return story.pick.choice(list(repairs.order_by("id")))
