"""The forms on the page of one job: as they were sent, or fresh ones."""

from functools import cached_property
from typing import Any

from django.utils import timezone

from repairs.bench import closing_forms, diagnosis_forms, forms, queries, work_forms
from repairs.bench.test_points import stage_of
from repairs.comebacks.standing import recent_verdicts
from repairs.diagnosis.queries import by_usualness
from repairs.faults.models import Check
from repairs.jobs import states


class PageForms:
    """Made for `JobPage`, which says what they are about."""

    job: Any
    sent: dict[str, Any]

    def form(self, name, form, *args, **kwargs):
        """The form called `name`: as it was sent, or a fresh one."""
        return self.sent.get(name) or form(*args, prefix=name, **kwargs)

    @cached_property
    def check_options(self):
        return queries.not_retired(Check) if self.can["record_work"] else []

    @cached_property
    def fixes_of_fault(self):
        """The fixes that the fault book names for the faults of this job."""
        return queries.fixes_of_faults(panel.repair.fault_id for panel in self.repairs)

    @cached_property
    def verdicts(self):
        """The record by which the fixes are called lasting or stopgap."""
        return recent_verdicts(timezone.localdate(), shop=self.shop)

    @cached_property
    def details_form(self):
        return self.form("head", forms.JobDetailsForm, instance=self.job)

    @cached_property
    def findings_form(self):
        symptoms = self.symptoms
        if self.job.state == states.BOOKED_IN:
            seen = [one.pk for one in self.symptoms_seen]
            symptoms = by_usualness(symptoms, job=self.job, seen=seen)
        facts = {"job": self.job, "symptoms": symptoms}
        return self.form("findings", diagnosis_forms.FindingsForm, **facts)

    @cached_property
    def fault_form(self):
        return self.form("fault", diagnosis_forms.JobFaultForm)

    @cached_property
    def new_fault_form(self):
        return self.form("newfault", diagnosis_forms.NewFaultForm)

    @cached_property
    def reading_form(self):
        facts = {"usual": self.usual_readings, "stage": stage_of(self.job)}
        facts["previous"] = self.previous
        return self.form("reading", work_forms.ReadingForm, **facts)

    @cached_property
    def timer_form(self):
        return self._repair_choice("timer", work_forms.TimerForm, optional=True)

    @cached_property
    def minutes_form(self):
        return self._repair_choice("minutes", work_forms.MinutesForm, optional=True)

    @cached_property
    def part_form(self):
        return self._repair_choice("part", work_forms.JobPartForm)

    @cached_property
    def unstocked_form(self):
        return self._repair_choice("unstocked", work_forms.UnstockedPartForm)

    def _repair_choice(self, name, form, **facts):
        return self.form(name, form, repairs=self.job.repairs.all(), **facts)

    @cached_property
    def repaired_form(self):
        return self.form(
            "repaired", closing_forms.CompleteRepairForm, rows=self.part_rows
        )

    @cached_property
    def outcome_form(self):
        first = {"old_parts": self.job.old_parts}
        return self.form("whole", closing_forms.JobOutcomeForm, initial=first)

    @cached_property
    def not_repaired_form(self):
        return self.form("wayout", closing_forms.NotRepairedForm)

    @cached_property
    def reason_form(self):
        return self.form("reason", forms.ReasonForm)
