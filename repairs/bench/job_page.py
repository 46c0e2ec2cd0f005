"""All that the page of one job shows: the page and its parts are made from the same.

Everything is found or built when a template first asks for it, so a part that answers
alone costs only what it shows.
"""

from functools import cached_property

from django.utils import timezone

from repairs.bench import next_step as steps
from repairs.bench import queries, sections
from repairs.bench.closing_forms import PartRow
from repairs.bench.next_step import NextStep, next_step
from repairs.bench.page_forms import PageForms
from repairs.bench.queue import is_overdue
from repairs.bench.repair_panel import RepairPanel
from repairs.bench.section_lines import SectionLines, SectionModes
from repairs.bench.test_points import TestPoint, points_of
from repairs.comebacks.standing import add_standings
from repairs.faults.cautions import BATTERY, SWOLLEN_BATTERY, cautions
from repairs.jobs import closing, states, workflow
from repairs.jobs.models import Job, PartReservation, Reading, UnstockedPart
from repairs.knowledge.closing_defaults import ClosingDefaults, closing_defaults
from repairs.knowledge.good_readings import UsualByPoint, usual_readings
from repairs.photos.actions import LINK_MINUTES
from repairs.returns.previous_readings import Previous, by_point

FIRST_READINGS = 6  # test points that are shown before one asks for more


class JobPage(PageForms):
    """The page of one job. `sent` is the form that was refused, under its name; it
    stands on the page in the place of an empty one, with all that was typed."""

    photo_link_minutes = LINK_MINUTES

    def __init__(self, job: Job, *, request, sent=None):
        self.job, self.sent = job, sent or {}
        self.user, self.shop = request.user, request.shop
        self.may = self.user.role in ("bench", "owner")
        queries.with_repairs(job)

    def context(self) -> dict:
        return {
            "page": self,
            "job": self.job,
            "repairs": self.repairs,
            "may": self.may,
            "can": self.can,
            "forms": list(self.sent.values()),
        }

    @cached_property
    def can(self) -> dict[str, bool]:
        """What may be done with the job now, and by whoever looks."""
        state, may, may_begin = self.job.state, self.may, self.may_begin
        return {
            "change": state in states.OPEN,
            "record_findings": may and state in states.BEFORE_REPAIRED,
            "verify_first": state in states.IN_DIAGNOSIS,
            "add_fault": may and state in states.IN_DIAGNOSIS,
            "select_fix": may and (state in states.BEFORE_REPAIRED or may_begin),
            "record_work": may and (state in states.AT_THE_BENCH or may_begin),
            "give_up": may and state in states.AT_THE_BENCH,
            "reserve": may and state in states.IN_WORK - {states.TESTED},
            "test": may and state == states.REPAIRED,
            "close": may and state == states.TESTED,
            "close_without_repair": may
            and states.READY in workflow.ALLOWED_TRANSITIONS[state]
            and state != states.DECLINED,
            "revise": may
            and state in (states.QUOTED, states.APPROVED, states.DECLINED),
        }

    @cached_property
    def may_begin(self) -> bool:
        """Whether what the warranty covers may begin while a quote is answered."""
        return self.job.state == states.QUOTED and self.job.may_work_on()

    # --- what is shown ----------------------------------------------------------

    @cached_property
    def repairs(self) -> list[RepairPanel]:
        return [RepairPanel(repair, page=self) for repair in self.job.repairs.all()]

    @property
    def to_be_fixed(self) -> list[RepairPanel]:
        return [panel for panel in self.repairs if not panel.repair.is_not_repaired]

    @cached_property
    def with_usual_parts(self) -> "list[RepairPanel]":
        """The repairs with the parts that their fixes usually need."""
        queries.fetch_usual_parts(list(self.job.repairs.all()))
        return self.repairs

    @property
    def part_rows(self) -> list[PartRow]:
        """Each part booked on a repair, reserved for it, or usual for its fix."""
        return [row for panel in self.with_parts for row in panel.part_rows]

    @cached_property
    def with_parts(self) -> "list[RepairPanel]":
        """The repairs with these, and with the parts that are booked on them."""
        queries.fetch_parts(list(self.job.repairs.all()))
        return self.with_usual_parts

    @cached_property
    def unstocked_parts(self) -> list[UnstockedPart]:
        return queries.unstocked_parts(self.job)

    @cached_property
    def reservations(self) -> list[PartReservation]:
        """The parts still reserved, each with the `panel` that needs it and
        `usable`: how many of them are in stock."""
        found = queries.reservations_of(self.job)
        panels = (self.to_be_fixed or self.repairs) if found else []
        for one in found:
            needs = [p for p in panels if one.part in [u.part for u in p.fix_parts]]
            one.panel = next(iter(needs or panels), None)
            one.usable = min(one.remaining, one.part.on_hand)
        return found

    @cached_property
    def closing_defaults(self) -> dict[int, ClosingDefaults]:
        repairs = [panel.repair for panel in self.to_be_fixed]
        on = timezone.localdate()
        return closing_defaults(repairs, verdicts=self.verdicts, on=on)

    @cached_property
    def labour(self):
        queries.fetch_labour(self.job)
        return list(self.job.labour.all())

    @property
    def has_parts(self) -> bool:
        return any(panel.repair.has_parts for panel in self.repairs)

    @property
    def all_tested(self) -> bool:
        return all(panel.repair.is_tested for panel in self.to_be_fixed)

    @cached_property
    def transitions(self):
        return list(self.job.transitions.select_related("by"))

    @property
    def is_late(self) -> bool:
        return is_overdue(self.job, on=timezone.localdate())

    @cached_property
    def next_step(self) -> NextStep:
        job, decision = self.job, self.job.decision
        return next_step(
            job.state,
            hazard=steps.hazard_of(self.job),
            has_findings=self.has_findings,
            has_fault=bool(self.repairs),
            is_undecided=decision is not None
            and decision.assessment == states.UNDECIDED,
            is_warranty_repair=job.needs_no_quote,
            covered_may_begin=self.may_begin,
            needs_disconnecting=self.asks_for_battery
            and job.battery_disconnected_at is None,
            has_fixes=all(panel.repair.fix_id for panel in self.to_be_fixed),
            tries_to_go=max((panel.to_go for panel in self.to_be_fixed), default=0)
            if job.state == states.REPAIRED
            else 0,
        )

    @property
    def next_id(self) -> str:
        """The id of the control of the next step, which gets the focus."""
        control = self.next_step.control
        if control == steps.FINDINGS:
            return (
                "id_findings-notes"
                if steps.hazard_of(self.job)
                else "id_findings-failed"
            )
        if control == steps.TEST:
            pk = next(one.repair.pk for one in self.to_be_fixed if one.to_go)
            return f"id_final-test-{pk}-tries"
        if control == steps.CLOSE:
            return f"id_close-{self.repairs[0].repair.pk}-outcome"
        return {steps.FAULT: "id_fault-fault", steps.FIX: "use-first"}.get(
            control, "next-send"
        )

    @cached_property
    def has_findings(self) -> bool:
        job = self.job
        return bool(job.verified_tries or job.bench_notes or self.symptoms_seen)

    @cached_property
    def cautions(self):
        repairs = [panel.repair for panel in self.repairs]
        hazards = {repair.fault.hazard for repair in repairs}
        hazards |= {repair.fix.hazard for repair in repairs if repair.fix}
        is_open = self.job.state in states.AT_THE_BENCH
        return cautions(job=self.job, hazards=hazards, at_the_board=is_open)

    @property
    def asks_for_battery(self) -> bool:
        """Whether the battery is to be disconnected before work on the board."""
        return bool({BATTERY, SWOLLEN_BATTERY} & {*self.cautions})

    # --- which sections are open, folded or hidden ------------------------------

    @cached_property
    def modes(self) -> SectionModes:
        return SectionModes(self)

    @cached_property
    def lines(self) -> SectionLines:
        return SectionLines(self)

    def is_empty(self, name: str) -> bool:
        """Whether nothing is recorded in a section, and nothing can be."""
        if name == sections.FINDINGS:
            return not self.has_findings
        if name == sections.READINGS:
            return not self.job.has_readings
        if name == sections.FINAL_TEST:
            return not any(panel.repair.final_tests.all() for panel in self.repairs)
        if name == sections.CLOSE:
            return not self.job.outcome and not self.can_close
        return not self.repairs

    @property
    def can_close(self) -> bool:
        return self.may and self.job.state in (*states.AT_THE_BENCH, states.READY)

    @cached_property
    def refused(self) -> set[str]:
        names = {name.partition("-")[0] for name in self.sent}
        of_state = sections.OF_REASON.get(self.job.state, sections.FAULTS)
        return {
            of_state if name == "reason" else sections.OF_FORM[name]
            for name in names
            if name == "reason" or name in sections.OF_FORM
        }

    @cached_property
    def missing(self) -> list[str]:
        """What is still needed before the job can be closed as fixed."""
        is_here = self.job.state in states.AT_THE_BENCH
        return closing.missing(self.job) if is_here else []

    @cached_property
    def open_tasks(self) -> list[str]:
        return closing.open_tasks(self.job) if self.job.is_open else []

    @cached_property
    def past(self) -> list[Job]:
        """Other visits of the device, judged on the day this one came in."""
        visits = queries.past_visits(self.job)
        if visits:
            add_standings(visits, self.verdicts)
        return visits

    @property
    def is_timed(self) -> bool:
        """Whether the timer of whoever looks runs on this job."""
        mine = [work for work in self.labour if work.by_id == self.user.pk]
        return any(work.is_running for work in mine)

    @cached_property
    def usual_readings(self) -> UsualByPoint:
        return usual_readings(self.job.device, except_job=self.job)

    @property
    def test_point_options(self) -> list[tuple[str, str]]:
        """Names that are offered while one types, each with its usual reading."""
        usual = [
            (one.test_point, one.text)
            for kinds in self.usual_readings.values()
            for one in kinds.values()
        ]
        names = {name for name, _ in usual}
        checks = [(c.name, c.where) for c in self.check_options if c.name not in names]
        return usual + checks

    @cached_property
    def _readings(self) -> list[Reading]:
        """Those of this job, and of the earlier one if its fault is back."""
        decision, jobs = self.job.decision, [self.job.pk]
        if decision and decision.assessment == states.SAME_FAULT:
            jobs.append(decision.earlier.job_id)
        return list(Reading.objects.filter(job__in=jobs).select_related("by"))

    @property
    def previous(self) -> Previous:
        return by_point(one for one in self._readings if one.job_id != self.job.pk)

    @cached_property
    def readings(self) -> list[TestPoint]:
        """The test points measured on this device, then others usual on its model."""
        readings = [one for one in self._readings if one.job_id == self.job.pk]
        return points_of(readings, usual=self.usual_readings, previous=self.previous)

    @property
    def measured(self) -> list[TestPoint]:
        """The test points measured on this device."""
        return [point for point in self.readings if point.before or point.after]

    @property
    def first_readings(self) -> list[TestPoint]:
        return self.readings[:FIRST_READINGS]

    @property
    def more_readings(self) -> list[TestPoint]:
        return self.readings[FIRST_READINGS:]

    @cached_property
    def symptoms(self):
        return queries.symptoms_for(self.job)

    @property
    def seeks_fault(self) -> bool:
        """Whether what past jobs say is of use."""
        return self.job.state in states.IN_DIAGNOSIS

    @property
    def symptoms_seen(self):
        return [symptom for symptom in self.symptoms if symptom.is_seen]
