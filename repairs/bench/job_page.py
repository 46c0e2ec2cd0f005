"""All that the page of one job shows: the page and its parts are made from the same.

Everything is found or built when a template first asks for it, so a part that answers
alone costs only what it shows.
"""

from functools import cached_property

from django.utils import timezone

from repairs.bench import forms, queries
from repairs.bench.next_step import next_step
from repairs.bench.test_points import TestPoint, points_of, stage_of
from repairs.faults.cautions import cautions
from repairs.faults.models import Check, Fault, Fix
from repairs.jobs import closing, final_test, states, workflow
from repairs.jobs.models import Job, Repair
from repairs.knowledge.good_readings import UsualByPoint, usual_readings


class JobPage:
    """The page of one job. `sent` is the form that was refused, under its name; it
    stands on the page in the place of an empty one, with all that was typed."""

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

    def form(self, name, form, *args, **kwargs):
        """The form called `name`: as it was sent, or a fresh one."""
        return self.sent.get(name) or form(*args, prefix=name, **kwargs)

    @cached_property
    def can(self) -> dict[str, bool]:
        """What may be done with the job now, and by whoever looks."""
        state, may = self.job.state, self.may
        return {
            "change": state in states.OPEN,
            "record_findings": may and state in states.BEFORE_REPAIRED,
            "verify_first": state in states.IN_DIAGNOSIS,
            "add_fault": may and state in states.IN_DIAGNOSIS,
            "select_fix": may and state in states.BEFORE_REPAIRED,
            "record_work": may and state in states.AT_THE_BENCH,
            "test": may and state == states.REPAIRED,
            "close": may and state == states.TESTED,
            "close_without_repair": may
            and states.READY in workflow.ALLOWED_TRANSITIONS[state]
            and state != states.DECLINED,
            "revise": may
            and state in (states.QUOTED, states.APPROVED, states.DECLINED),
        }

    # --- what is shown ----------------------------------------------------------

    @cached_property
    def repairs(self) -> "list[RepairPanel]":
        return [RepairPanel(repair, page=self) for repair in self.job.repairs.all()]

    @property
    def to_be_fixed(self) -> "list[RepairPanel]":
        return [panel for panel in self.repairs if not panel.repair.is_not_repaired]

    @cached_property
    def with_parts(self) -> "list[RepairPanel]":
        """The repairs with the parts that are booked on them or usually needed."""
        queries.fetch_parts(list(self.job.repairs.all()))
        return self.repairs

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
        job = self.job
        return (
            job.due_on is not None
            and job.state not in (states.READY, states.HANDED_OVER)
            and job.due_on < timezone.localdate()
        )

    @property
    def next_step(self) -> str:
        decision = self.job.decision
        return next_step(
            self.job.state,
            has_fault=bool(self.repairs),
            is_undecided=decision is not None
            and decision.assessment == states.UNDECIDED,
            is_warranty_repair=self.job.is_warranty_repair,
            has_fixes=all(panel.repair.fix_id for panel in self.to_be_fixed),
            tries_to_go=max((panel.to_go for panel in self.to_be_fixed), default=0)
            if self.job.state == states.REPAIRED
            else 0,
        )

    @property
    def cautions(self):
        repairs = [panel.repair for panel in self.repairs]
        hazards = {repair.fault.hazard for repair in repairs}
        hazards |= {repair.fix.hazard for repair in repairs if repair.fix}
        return cautions(job=self.job, hazards=hazards)

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
        return queries.past_visits(self.job)

    @property
    def is_timed(self) -> bool:
        """Whether the timer of whoever looks runs on this job."""
        mine = [work for work in self.job.labour.all() if work.by_id == self.user.pk]
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
    def readings(self) -> list[TestPoint]:
        """The test points measured on this device, then others usual on its model."""
        readings = self.job.readings.select_related("by")
        return points_of(readings, usual=self.usual_readings)

    @cached_property
    def symptoms(self):
        return queries.symptoms_for(self.job)

    @property
    def symptoms_seen(self):
        return [symptom for symptom in self.symptoms if symptom.is_seen]

    # --- what may be typed ------------------------------------------------------

    @cached_property
    def fault_options(self):
        return queries.not_retired(Fault) if self.can["add_fault"] else []

    @cached_property
    def fix_options(self):
        return queries.not_retired(Fix) if self.can["select_fix"] else []

    @cached_property
    def check_options(self):
        return queries.not_retired(Check) if self.can["record_work"] else []

    @cached_property
    def fixes_of_fault(self):
        """The fixes that the fault book names for the faults of this job."""
        return queries.fixes_of_faults(panel.repair.fault_id for panel in self.repairs)

    @cached_property
    def details_form(self):
        job = self.job
        initial = {"waiting_for": job.waiting_for, "due_on": job.due_on}
        return self.form("head", forms.JobDetailsForm, initial=initial)

    @cached_property
    def findings_form(self):
        facts = {"job": self.job, "symptoms": self.symptoms}
        return self.form("findings", forms.FindingsForm, **facts)

    @cached_property
    def fault_form(self):
        return self.form("fault", forms.JobFaultForm)

    @cached_property
    def new_fault_form(self):
        return self.form("newfault", forms.NewFaultForm)

    @cached_property
    def reading_form(self):
        facts = {"usual": self.usual_readings, "stage": stage_of(self.job)}
        return self.form("reading", forms.ReadingForm, **facts)

    @cached_property
    def timer_form(self):
        return self._repair_choice("timer", forms.TimerForm, optional=True)

    @cached_property
    def minutes_form(self):
        return self._repair_choice("minutes", forms.MinutesForm, optional=True)

    @cached_property
    def part_form(self):
        return self._repair_choice("part", forms.JobPartForm)

    def _repair_choice(self, name, form, **facts):
        return self.form(name, form, repairs=self.job.repairs.all(), **facts)

    @cached_property
    def outcome_form(self):
        return self.form("whole", forms.JobOutcomeForm)

    @cached_property
    def not_repaired_form(self):
        return self.form("wayout", forms.NotRepairedForm)

    @cached_property
    def reason_form(self):
        return self.form("reason", forms.ReasonForm)


class RepairPanel:
    """One repair on that page: its final test in words, and its forms."""

    def __init__(self, repair: Repair, *, page: JobPage):
        self.repair, self.page = repair, page

    @cached_property
    def needed(self) -> int:
        tests = self.repair.valid_tests
        return tests[-1].needed if tests else self.repair.passes_needed(self.page.shop)

    @cached_property
    def passes(self) -> int:
        return final_test.passes(self.repair.valid_tests)

    @property
    def to_go(self) -> int:
        return max(0, self.needed - self.passes)

    @property
    def why_so_many(self) -> str:
        job = self.page.job
        was_seen = bool(job.verified_failures or job.counter_failures)
        before = self.repair.failures_before
        return final_test.why_so_many(*before, needed=self.needed, was_seen=was_seen)

    @property
    def what_it_means(self) -> str:
        before = self.repair.failures_before
        return (
            final_test.what_it_means(*before, passes=self.passes) if self.passes else ""
        )

    @property
    def usual_parts(self):
        """Parts that the fix usually needs and that are not booked yet."""
        if self.repair.fix is None:
            return []
        booked = {used.part_id for used in self.repair.parts_used.all()}
        parts = self.repair.fix.usual_parts.all()
        return [usual for usual in parts if usual.part_id not in booked]

    def _form(self, name, form, **kwargs):
        return self.page.form(f"{name}-{self.repair.pk}", form, **kwargs)

    @cached_property
    def fix_form(self):
        fixes = list(self.page.fixes_of_fault.get(self.repair.fault_id, ()))
        if self.repair.fix is not None and self.repair.fix not in fixes:
            fixes.append(self.repair.fix)
        return self._form("fix", forms.JobFixForm, repair=self.repair, fixes=fixes)

    @cached_property
    def new_fix_form(self):
        return self._form("newfix", forms.NewFixForm)

    @cached_property
    def not_repaired_form(self):
        return self._form("giveup", forms.NotRepairedForm)

    @cached_property
    def final_test_form(self):
        return self._form("final-test", forms.FinalTestForm)

    @cached_property
    def close_form(self):
        return self._form("close", forms.CloseForm, repair=self.repair)
