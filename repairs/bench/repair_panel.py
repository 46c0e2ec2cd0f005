"""One repair on the page of its job: its final test in words, and its forms."""

from collections import Counter
from functools import cached_property

from django.utils import timezone

from repairs.bench import closing_forms, diagnosis_forms
from repairs.bench.closing_forms import PartRow
from repairs.comebacks.standing import Standing, better_fix, standing
from repairs.faults.models import Fix, UsualPart
from repairs.jobs import final_test
from repairs.jobs.models import Repair
from repairs.stock.models import Part


class RepairPanel:
    """`page` is the JobPage it stands on."""

    def __init__(self, repair: Repair, *, page):
        self.repair, self.page = repair, page

    @property
    def may_work(self) -> bool:
        return self.page.job.may_work_on(self.repair)

    @cached_property
    def needed(self) -> int:
        tests = self.repair.valid_tests
        return tests[-1].needed if tests else self.repair.passes_needed(self.page.shop)

    @property
    def _before(self) -> final_test.Counts:
        tests = self.repair.valid_tests
        reproduces = bool(tests) and tests[-1].reproduces
        return self.repair.failures_before(reproduces=reproduces)

    @property
    def needs_fewer_if_reproduced(self) -> int:
        """The passes needed under the conditions of the bench, if these are fewer."""
        fewer = self.repair.passes_needed(self.page.shop, reproduces=True)
        return fewer if fewer < self.needed else 0

    @cached_property
    def passes(self) -> int:
        return final_test.passes(self.repair.valid_tests)

    @property
    def to_go(self) -> int:
        if self.repair.is_tested:
            return 0
        return max(0, self.needed - self.passes)

    @property
    def why_so_many(self) -> str:
        repair, needed = self.repair, self.needed
        if repair.tries_required:
            passes = "1 pass" if needed == 1 else f"{needed} passes"
            return f"The owner requires {passes}: {repair.tries_required_why}."
        return final_test.why_so_many(
            *self._before, needed=needed, was_seen=self._was_seen
        )

    @property
    def _was_seen(self) -> bool:
        job = self.page.job
        return bool(job.verified_failures or job.counter_failures)

    @property
    def last_test(self):
        """The last valid test, whose conditions a counted try continues."""
        return next(iter(self.repair.valid_tests[-1:]), None)

    @property
    def hours_needed(self):
        return self.repair.hours_needed(self.page.shop)

    @property
    def what_hours_mean(self) -> str:
        job, clean = self.page.job, final_test.clean_hours(self.repair.valid_tests)
        if not clean or job.soak_hours is None:
            return ""
        before = job.soak_failures, job.soak_hours
        return final_test.what_hours_mean(*before, clean=clean)

    @property
    def what_it_means(self) -> str:
        if not self.passes:
            return ""
        return final_test.what_it_means(
            *self._before, passes=self.passes, was_seen=self._was_seen
        )

    @property
    def fix_parts(self) -> list[UsualPart]:
        """Parts that the fix usually needs."""
        return list(self.repair.fix.usual_parts.all()) if self.repair.fix else []

    @property
    def parts_to_book(self) -> list[UsualPart]:
        return [usual for usual in self.fix_parts if not usual.is_booked]

    @property
    def unreserved_parts(self) -> list[UsualPart]:
        """Those to book that are not on the list of what is reserved."""
        reserved = {one.part_id for one in self.page.reservations}
        return [usual for usual in self.parts_to_book if usual.part_id not in reserved]

    @property
    def part_rows(self) -> list[PartRow]:
        """Each part booked on the repair, reserved for it or usual; none of one that is
        not repaired."""
        repair = self.repair
        if repair.is_not_repaired:
            return []
        booked: Counter[Part] = Counter()
        for used in repair.parts_used.all():
            booked[used.part] += used.quantity
        planned = {usual.part: usual.quantity for usual in self.parts_to_book}
        reserved = [one for one in self.page.reservations if one.panel is self]
        planned |= {one.part: one.remaining for one in reserved}
        return [
            PartRow(repair, part, booked[part], planned.get(part, 0))
            for part in dict.fromkeys([*booked, *planned])
        ]

    @cached_property
    def standing(self) -> Standing | None:
        """What is known of the fix; None while none is selected."""
        repair = self.repair
        if repair.fix is None:
            return None
        recorded = repair.fix_type
        return standing(
            self.page.verdicts, repair.fault_id, repair.fix, recorded=recorded
        )

    @cached_property
    def better_fix(self) -> Fix | None:
        """The fix of the fault that is measured to be better than the one selected."""
        repair = self.repair
        if repair.fix is None:
            return None
        offered = self.page.fixes_of_fault.get(repair.fault_id, ())
        return better_fix(
            self.page.verdicts, repair.fault_id, repair.fix, among=offered
        )

    @property
    def better_standing(self) -> Standing:
        return standing(self.page.verdicts, self.repair.fault_id, self.better_fix)

    def _form(self, name, form, **kwargs):
        return self.page.form(f"{name}-{self.repair.pk}", form, **kwargs)

    @cached_property
    def fix_form(self):
        fixes = list(self.page.fixes_of_fault.get(self.repair.fault_id, ()))
        if self.repair.fix is not None and self.repair.fix not in fixes:
            fixes.append(self.repair.fix)
        facts = {"repair": self.repair, "fixes": fixes, "verdicts": self.page.verdicts}
        return self._form("fix", diagnosis_forms.JobFixForm, **facts)

    @cached_property
    def new_fix_form(self):
        return self._form("newfix", diagnosis_forms.NewFixForm)

    @cached_property
    def not_repaired_form(self):
        return self._form("giveup", closing_forms.NotRepairedForm)

    @cached_property
    def final_test_form(self):
        return self._form("final-test", closing_forms.FinalTestForm)

    @cached_property
    def tries_form(self):
        return self._form("tries", closing_forms.TriesRequiredForm)

    @cached_property
    def close_form(self):
        facts = {"repair": self.repair, "verdicts": self.page.verdicts}
        facts["defaults"] = self.page.closing_defaults.get(self.repair.pk)
        facts["on"] = timezone.localdate()
        return self._form("close", closing_forms.CloseForm, **facts)
