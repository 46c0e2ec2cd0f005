"""All that the page of one job shows: the page and its parts are made from the same."""

from django.utils import timezone

from repairs.bench import forms, queries
from repairs.bench.actions import MENDING, running_timer
from repairs.bench.final_test_words import what_it_means, why_so_many
from repairs.bench.next_step import next_step
from repairs.faults.cautions import cautions
from repairs.jobs import states
from repairs.jobs.models import Job
from repairs.jobs.warranty import is_in_warranty


class Bench:
    """The page of one job. `sent` is the form that was refused, under its name; it
    stands on the page in the place of an empty one, with all that was typed."""

    def __init__(self, job: Job, *, user, sent=None):
        self.job, self.user = job, user
        self.sent = sent or {}
        self.may = user.kind in ("bench", "owner")
        self.repairs = [self._repair(repair) for repair in queries.repairs_of(job)]
        self.decision = job.decision

    def _form(self, name, form, *args, **kwargs):
        """The form called `name`: as it was sent, or a fresh one."""
        return self.sent.get(name) or form(*args, prefix=name, **kwargs)

    def _repair(self, repair):
        pk, job = repair.pk, self.job
        failed, tries = repair.seen_to_fail
        needed, clean = repair.tries_needed, repair.clean_tries
        was_seen = bool(job.verified_failures or job.counter_failures)
        return {
            "is": repair,
            "is_given_up": repair.outcome in states.GIVEN_UP,
            "is_tested": repair.is_tested,
            "needed": needed,
            "clean": clean,
            "to_go": max(0, needed - clean),
            "why_so_many": why_so_many(failed, tries, needed=needed, was_seen=was_seen),
            "what_it_means": what_it_means(failed, tries, clean=clean) if clean else "",
            "usual_parts": self._usual_parts(repair),
            "fix_form": self._form(f"fix-{pk}", forms.FixForm, repair=repair),
            "new_fix_form": self._form(f"newfix-{pk}", forms.NewFixForm),
            "give_up_form": self._form(f"giveup-{pk}", forms.WayOutForm),
            "proof_form": self._form(f"proof-{pk}", forms.ProofForm),
            "close_form": self._form(f"close-{pk}", forms.CloseForm, repair=repair),
        }

    @staticmethod
    def _usual_parts(repair):
        """Parts that the fix usually takes and that are not booked yet."""
        if repair.fix is None:
            return []
        booked = {used.part_id for used in repair.parts_used.all()}
        return [u for u in repair.fix.usual_parts.all() if u.part_id not in booked]

    def as_context(self) -> dict:
        job, state = self.job, self.job.state
        return {
            "job": job,
            "repairs": self.repairs,
            "has_parts": any(one["is"].parts_used.all() for one in self.repairs),
            "all_proven": all(
                one["is_tested"] for one in self.repairs if not one["is_given_up"]
            ),
            "decision": self.decision,
            "may": self.may,
            "can": {
                "change": state in states.OPEN,
                "find": self.may and state in MENDING,
                "find_first": state in states.FINDING,
                "name": self.may and state in states.FINDING,
                "mend": self.may and state in MENDING,
                "work": self.may and state in states.AT_THE_BENCH,
                "prove": self.may and state == states.REPAIRED,
                "close": self.may and state == states.TESTED,
                "way_out": self.may
                and states.READY in states.NEXT[state]
                and state != states.DECLINED,
                "revise": self.may
                and state in (states.QUOTED, states.APPROVED, states.DECLINED),
            },
            "is_warranty_repair": job.is_warranty_repair,
            "is_late": job.due_on
            and job.state not in (states.READY, states.HANDED_OVER)
            and job.due_on < timezone.localdate(),
            "next_step": self._next_step(),
            "cautions": self._cautions(),
            "past": self._past(),
            "readings": job.readings.select_related("by"),
            "labour": job.labour.select_related("by", "repair__fault"),
            "timer": running_timer(self.user),
            "missing": job.missing_to_close() if state in states.AT_THE_BENCH else [],
            "open_ends": job.open_ends() if job.is_open else [],
            "steps": job.steps.select_related("by"),
            "head_form": self._form(
                "head",
                forms.HeadForm,
                initial={
                    "waiting_for": job.waiting_for,
                    "due_on": job.due_on,
                },
            ),
            "findings_form": self._form("findings", forms.FindingsForm, job=job),
            "fault_form": self._form("fault", forms.FaultForm),
            "new_fault_form": self._form("newfault", forms.NewFaultForm),
            "reading_form": self._form("reading", forms.ReadingForm),
            "timer_form": self._form("timer", forms.TimerForm, job=job, optional=True),
            "minutes_form": self._form(
                "minutes", forms.MinutesForm, job=job, optional=True
            ),
            "part_form": self._form("part", forms.PartForm, job=job),
            "whole_form": self._form("whole", forms.WholeForm),
            "way_out_form": self._form("wayout", forms.WayOutForm),
            "reason_form": self._form("reason", forms.ReasonForm),
            "forms": list(self.sent.values()),
            **queries.what_may_be_typed(),
        }

    def _next_step(self) -> str:
        going_on = [one for one in self.repairs if not one["is_given_up"]]
        return next_step(
            self.job.state,
            has_fault=bool(self.repairs),
            is_undecided=bool(self.decision) and self.decision.what == states.UNDECIDED,
            is_warranty_repair=self.job.is_warranty_repair,
            has_fixes=all(one["is"].fix_id for one in going_on),
            tries_to_go=max((one["to_go"] for one in going_on), default=0),
        )

    def _cautions(self):
        pairs = [one["is"] for one in self.repairs]
        hazards = {repair.fault.hazard for repair in pairs}
        hazards |= {repair.fix.hazard for repair in pairs if repair.fix}
        return cautions(job=self.job, hazards=hazards)

    def _past(self):
        """Past visits, with how long after each this one came and whether covered."""
        came = self.job.booked_in_on
        return [
            {
                "job": visit,
                "days": (came - visit.handed_over_on).days
                if visit.handed_over_on
                else None,
                "repairs": [
                    (repair, is_in_warranty(came, until=repair.warranty_until))
                    for repair in visit.repairs.all()
                ],
            }
            for visit in queries.past_visits(self.job)
        ]
