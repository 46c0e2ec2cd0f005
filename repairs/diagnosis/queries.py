"""What is asked of past jobs: counts, those like this one, symptoms that are usual."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, Subquery

from repairs.customers.models import Device, DeviceModel
from repairs.diagnosis.evidence import (
    WITH_WORDS,
    Evidence,
    Place,
    read_features,
    word_key,
)
from repairs.diagnosis.learning import evidence_of, models_of
from repairs.diagnosis.likely_faults import FaultCounts, Ranking, rank
from repairs.diagnosis.models import LearntCase, LearntCount
from repairs.faults.models import Fault, Symptom
from repairs.jobs.models import Job, Repair

FEW = 5
"""Jobs below which those of the whole kind are counted instead of the model's."""
LATEST = 150
"""Past jobs that are compared with one."""
NAMED = 15
"""Faults of which the names are read; the others are too unlikely to be shown."""


def place_of(device: Device) -> Place:
    """Return where the device stands among others."""
    model = device.model
    return Place(model.kind, model.pk, device.board_revision, models_of(model))


def place_of_names(
    *, kind: str, maker: str, model: str, board_revision: str = ""
) -> Place:
    """Return where a device stands of which only the names are known."""
    found = DeviceModel.objects.matching(kind=kind, maker=maker, model=model)
    if not found:
        return Place(kind)
    return Place(found.kind, found.pk, board_revision, models_of(found))


def load_counts(place: Place, evidence: Evidence) -> FaultCounts:
    """Return the stored counts of all that bears on such a job, by one query."""
    levels = {level for step in place.steps for level in step}
    words = [WITH_WORDS, *(word_key(word) for word in evidence.words)]
    shop_and_kind = [step[0] for step in place.steps[:2]]
    rows = LearntCount.objects.filter(
        Q(level__in=levels, feature__lt=WITH_WORDS)
        | Q(level__in=shop_and_kind, feature__in=words)
    )
    rows = list(rows.order_by("level", "feature"))
    seen = next((r.faults for r in rows if not r.level and not r.feature), {})
    counts = FaultCounts(sorted(map(int, seen)))
    for row in rows:
        counts.set(row.level, row.feature, row.faults)
    return counts


def ranking_of(place: Place, evidence: Evidence) -> Ranking:
    return rank(load_counts(place, evidence), place, evidence)


def likely_faults(ranking: Ranking) -> list[tuple[Fault, float]]:
    """Return the likeliest faults that are not retired, each with its probability."""
    first = [fault for fault, _ in ranking.best()[:NAMED]]
    rows = Fault.objects.filter(Q(pk__in=first) | Q(is_retired=True))
    known = {fault.pk: fault for fault in rows}
    retired = {pk for pk, fault in known.items() if fault.is_retired}
    offered = [fault for fault in ranking.counts.faults if fault not in retired]
    best = ranking.best(offered)
    return [(known[pk], chance) for pk, chance in best if pk in known]


# --- such jobs --------------------------------------------------------------------


@dataclass(frozen=True)
class SuchJobs:
    """The past jobs that are counted beside a probability, and what they share."""

    cases: object
    text: str
    by_fault: dict[int, int]

    @property
    def count(self) -> int:
        return sum(self.by_fault.values())


def such_jobs(place: Place, symptoms: frozenset[int], *, except_job: int) -> SuchJobs:
    """Return the jobs of this kind with all the symptoms; if there are few, with one of
    them; without symptoms those of the model or, if these are few, of the kind."""
    cases = LearntCase.objects.exclude(job=except_job)
    of_kind = cases.filter(model__kind=place.kind)
    seen = Job.symptoms.through.objects.filter(job=OuterRef("job"))
    if symptoms:
        with_all = of_kind
        for symptom in sorted(symptoms):
            with_all = with_all.filter(Exists(seen.filter(symptom=symptom)))
        found = _counted(with_all, f"{place.kind} with these symptoms")
        if found.count >= FEW or len(symptoms) == 1:
            return found
        with_one = of_kind.filter(Exists(seen.filter(symptom__in=symptoms)))
        return _counted(with_one, f"{place.kind} with one of these symptoms")
    if place.model is not None:
        found = _counted(cases.filter(model=place.model), "this model")
        if found.count >= FEW:
            return found
    return _counted(of_kind, place.kind)


def _counted(cases, text: str) -> SuchJobs:
    counts = cases.order_by().values_list("fault").annotate(n=Count("pk"))
    return SuchJobs(cases, text, dict(counts))


# --- jobs like this one -----------------------------------------------------------


@dataclass(frozen=True)
class SimilarJob:
    case: LearntCase
    shared: int
    """Symptoms and results of checks that both have."""
    words: int


def similar_jobs(
    place: Place,
    evidence: Evidence,
    faults: Iterable[int],
    *,
    except_job: int,
    limit: int = 3,
) -> list[SimilarJob]:
    """Return past jobs with one of `faults` that share most with this one.

    A symptom or a result counts three times as much as a word; the share of what either
    has decides (Jaccard), then the same model. Of each job it says the fix.
    """
    cases = LearntCase.objects.filter(fault__in=list(faults)).exclude(job=except_job)
    own, scored = set(evidence.features()), []
    for case in with_fix(cases).order_by("-pk")[:LATEST]:
        other = set(case.keys)
        shared = own & other
        weight = _weight(shared) / (_weight(own | other) or 1)
        if shared:
            words = len(read_features(shared).words)
            found = SimilarJob(case, len(shared) - words, words)
            scored.append((weight, case.model_id == place.model, case.pk, found))
    return [
        found for *_, found in sorted(scored, key=lambda one: one[:3])[::-1][:limit]
    ]


def with_fix(cases):
    """Return the cases with all that one row shows, and `fix_name`."""
    fixes = Repair.objects.filter(job=OuterRef("job"), fault=OuterRef("fault"))
    cases = cases.select_related("job", "fault", "model")
    return cases.annotate(fix_name=Subquery(fixes.values("fix__name")[:1]))


def _weight(features: set[str]) -> int:
    return sum(1 if feature.startswith("w") else 3 for feature in features)


# --- symptoms ---------------------------------------------------------------------


def usual_symptoms(ranking: Ranking) -> dict[int, float]:
    """Return how likely each known symptom is on this job, given what was seen."""
    counts, chances = ranking.counts, ranking.probabilities
    return {
        symptom: float(row @ chances)
        for symptom, row in ranking.chances_of_symptoms()
        if counts.faults
    }


def by_usualness(
    symptoms: list[Symptom], *, job: Job, seen: Iterable[int]
) -> list[Symptom]:
    """Return the symptoms that are usual on such a job first; equal ones by name.

    Results of checks are left out: they would take a query more.
    """
    evidence = evidence_of(job, symptoms=seen, results={})
    usual = usual_symptoms(ranking_of(place_of(job.device), evidence))
    return sorted(symptoms, key=lambda one: (-usual.get(one.pk, 0), one.name))
