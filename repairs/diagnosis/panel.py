"""The panel “What we know” of a job: likely faults, jobs like it, the next check."""

from dataclasses import dataclass
from functools import cached_property

from django.db.models import F, FilteredRelation, Q

from repairs.diagnosis import queries
from repairs.diagnosis.evidence import Evidence
from repairs.diagnosis.learning import evidence_of
from repairs.diagnosis.likely_faults import Ranking
from repairs.diagnosis.next_check import ProposedCheck, best_checks
from repairs.faults.models import Check, Fault
from repairs.jobs import states
from repairs.jobs.models import Job
from repairs.knowledge.good_readings import UsualByPoint, usual_readings
from shopdesk.lookup import normalize_search

SHOWN = 5
MIN_CHANCE = 0.01
MIN_CHANCE_OF_NEW = 0.02
AT_LEAST = 3
"""Faults that are shown even if they are less likely than that."""


@dataclass(frozen=True)
class LikelyFault:
    fault: Fault
    chance: float
    seen: int
    """Such jobs that had it."""


@dataclass(frozen=True)
class NextCheck:
    """A proposed check in words: why, and what this model usually reads there."""

    check: Check
    proposal: ProposedCheck
    reason: str
    usual: str


class WhatWeKnow:
    """What past jobs say about an open one. Each part is found when it is asked for.

    `may` says whether whoever looks works at the bench.
    """

    def __init__(self, job: Job, *, may: bool) -> None:
        self.job, self.may = job, may

    @property
    def is_shown(self) -> bool:
        """Whether it is of use: the fault is still looked for."""
        return self.job.state in states.IN_DIAGNOSIS

    @cached_property
    def is_open(self) -> bool:
        """Whether no fault was added yet; then the panel is folded."""
        return not self.job.repairs.all()

    @property
    def can_add_fault(self) -> bool:
        return self.may and self.job.state in states.IN_DIAGNOSIS

    @property
    def can_record(self) -> bool:
        return self.may and self.job.state in states.AT_THE_BENCH

    @cached_property
    def _all_checks(self) -> list[Check]:
        """All checks, each with `result_here`: its result on this job, or None."""
        here = FilteredRelation(
            "results_found", condition=Q(results_found__job=self.job)
        )
        found = Check.objects.annotate(here=here)
        return list(found.annotate(result_here=F("here__result")))

    @cached_property
    def results(self) -> list[Check]:
        """The checks that were made on this job."""
        return [check for check in self._all_checks if check.result_here]

    @cached_property
    def evidence(self) -> Evidence:
        return evidence_of(
            self.job,
            symptoms=self.job.symptoms.order_by().values_list("pk", flat=True),
            results={check.pk: check.result_here for check in self.results},
        )

    @cached_property
    def ranking(self) -> Ranking:
        return queries.ranking_of(queries.place_of(self.job.device), self.evidence)

    @cached_property
    def _likely(self) -> list[tuple[Fault, float]]:
        return queries.likely_faults(self.ranking)

    @cached_property
    def such_jobs(self) -> queries.SuchJobs:
        place, symptoms = self.ranking.place, self.evidence.symptoms
        return queries.such_jobs(place, symptoms, except_job=self.job.pk)

    @cached_property
    def faults(self) -> list[LikelyFault]:
        """The likeliest faults; none if the shop has learnt nothing yet."""
        if not self._likely:
            return []
        by_fault = self.such_jobs.by_fault
        return [
            LikelyFault(fault, chance, by_fault.get(fault.pk, 0))
            for n, (fault, chance) in enumerate(self._likely[:SHOWN])
            if n < AT_LEAST or chance >= MIN_CHANCE
        ]

    @property
    def chance_of_new(self) -> float:
        """The probability of a fault that was never recorded; 0 if it is negligible."""
        new = self.ranking.new
        return new if self._likely and new >= MIN_CHANCE_OF_NEW else 0.0

    @cached_property
    def similar(self) -> list[queries.SimilarJob]:
        faults = [one.fault.pk for one in self.faults]
        if not faults or self.evidence.is_empty:
            return []
        place = self.ranking.place
        return queries.similar_jobs(
            place, self.evidence, faults, except_job=self.job.pk
        )

    @cached_property
    def checks(self) -> list[Check]:
        return [check for check in self._all_checks if not check.is_retired]

    @property
    def other_checks(self) -> list[Check]:
        """The checks that can be recorded: their results are known."""
        return [check for check in self.checks if check.result_options]

    @cached_property
    def next_checks(self) -> list[NextCheck]:
        """The checks that tell most for the minutes they take."""
        by_number = {check.pk: check for check in self.checks}
        faults = {fault.pk: fault for fault, _ in self._likely}
        found = best_checks(
            self.ranking,
            [(check.pk, check.minutes) for check in self.checks],
            offered=faults,
        )
        return [
            NextCheck(
                check=by_number[one.check],
                proposal=one,
                reason=self._reason(by_number[one.check], one, faults),
                usual=self._usual_reading(by_number[one.check]),
            )
            for one in found
        ]

    @staticmethod
    def _reason(check: Check, found: ProposedCheck, faults: dict[int, Fault]) -> str:
        if len(found.separates) < 2:
            return "Narrows down the likely faults."
        spelt = {option.casefold(): option for option in check.result_options}
        (one, for_one), (other, for_other) = found.separates
        return (
            f"“{spelt.get(for_one, for_one)}” speaks for {faults[one].name},"
            f" “{spelt.get(for_other, for_other)}” for {faults[other].name}."
        )

    def _usual_reading(self, check: Check) -> str:
        for name in (check.name, check.where):
            for reading in self._usual_readings.get(
                normalize_search(name), {}
            ).values():
                return f"{reading.test_point} on this model: {reading.text}"
        return ""

    @cached_property
    def _usual_readings(self) -> UsualByPoint:
        return usual_readings(self.job.device, except_job=self.job)
