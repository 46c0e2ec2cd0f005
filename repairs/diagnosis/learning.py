"""What the shop learns when a job is closed, and forgets when it is reopened.

The true faults of a job are those of its repairs that were fixed, and those that were
found but could not be repaired: both say what such a device had. A job without a known
fault teaches nothing.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from functools import lru_cache
from itertools import islice

from django.db import transaction
from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.crypto import salted_hmac

from repairs.customers.models import DeviceModel
from repairs.diagnosis.evidence import Evidence, Place, counted
from repairs.diagnosis.models import LearntCase, LearntCount
from repairs.diagnosis.words import stems
from repairs.jobs import states
from repairs.jobs.models import CheckResult, Job, JobTransition, Repair

BATCH = 400
MANY_ROWS = 2_000
"""Rows of counts changed at once from which they are written anew."""
HASH_LENGTH = 10
CLOSED = (states.READY, states.HANDED_OVER)
KNOWN = (states.FIXED, states.NOT_REPAIRABLE)
Key = tuple[str, str]


@lru_cache(maxsize=20_000)
def word_hash(stem: str) -> str:
    """Return what stands for a word: without the shop's secret nobody can tell which
    word it was, or try out words."""
    digest = salted_hmac("repairs.diagnosis.words", stem, algorithm="sha256")
    return digest.hexdigest()[:HASH_LENGTH]


def word_hashes(text: str) -> frozenset[str]:
    return frozenset(word_hash(stem) for stem in stems(text))


def evidence_of(
    job: Job, *, symptoms: Iterable[int], results: Mapping[int, str]
) -> Evidence:
    """Return what is known of a job: its complaint, and what was seen at the bench."""
    return Evidence(
        symptoms=frozenset(symptoms),
        results=results,
        words=word_hashes(f"{job.complaint}\n{job.occurs_when}"),
    )


def after_closing(job: Job) -> None:
    """Learn from a job that was closed, or forget one that was reopened."""
    with transaction.atomic():
        forget(job)
        if job.state in CLOSED:
            learn(job)


def learn(job: Job) -> None:
    """Count the faults of a closed job, in the transaction that closed it."""
    add_cases(_new_cases([job]))


def forget(job: Job) -> None:
    """Undo exactly what was counted for the job."""
    forget_all(Job.objects.filter(pk=job.pk))


def forget_all(jobs: QuerySet[Job]) -> None:
    """Undo exactly what was counted for these jobs."""
    cases = LearntCase.objects.filter(job__in=jobs).order_by("pk")
    if found := list(cases.select_related("model")):
        _change_counts(_counts_of(found), sign=-1)
        cases.delete()


def move_cases(gone: int, kept: int) -> None:
    """Count what was learnt of one fault for another one that it is merged into.

    A job that had both is one case of the other.
    """
    cases = LearntCase.objects.filter(fault=gone).order_by("pk")
    found = list(cases.select_related("model"))
    if not found:
        return
    _change_counts(_counts_of(found), sign=-1)
    both = {case.job_id for case in found}
    both &= set(LearntCase.objects.filter(fault=kept).values_list("job", flat=True))
    cases.filter(job__in=both).delete()
    moved = [case for case in found if case.job_id not in both]
    cases.update(fault=kept)
    for case in moved:
        case.fault_id = kept
    _change_counts(_counts_of(moved), sign=1)


def add_cases(cases: list[LearntCase]) -> None:
    LearntCase.objects.bulk_create(cases, batch_size=BATCH)
    _change_counts(_counts_of(cases), sign=1)


def learn_all(progress: Callable[[int], object] = lambda jobs: None) -> int:
    """Learn from every closed job that was not learnt from; return how many cases."""
    jobs = _not_learnt().order_by("pk").values_list("pk", flat=True)
    rest, total = iter(list(jobs)), 0
    changes: Counter[tuple[str, str, int]] = Counter()
    with transaction.atomic():
        while batch := list(islice(rest, BATCH)):
            found = Job.objects.filter(pk__in=batch).select_related("device__model")
            cases = _new_cases(list(found))
            LearntCase.objects.bulk_create(cases, batch_size=BATCH)
            changes.update(_counts_of(cases))
            total += len(cases)
            progress(len(batch))
        _change_counts(changes, sign=1)
    return total


def rebuild(progress: Callable[[int], object] = lambda jobs: None) -> int:
    """Learn from all closed jobs anew, and count all cases again.

    A case whose complaint was erased keeps the hashes of its words.
    """
    with transaction.atomic():
        # First: a job that is closed meanwhile waits for these rows.
        LearntCount.objects.all().delete()
        kept = LearntCase.objects.filter(
            pk__in=_right_cases(), job__customer__erased_on__isnull=False
        )
        LearntCase.objects.exclude(pk__in=kept.values("pk")).delete()
        _change_counts(_counts_of(_all_cases()), sign=1)
        return learn_all(progress)


def count_to_learn() -> int:
    """Return how many closed jobs were not learnt from."""
    return _not_learnt().count()


def first_difference(using: str = "default") -> str:
    """Return how the counts first differ from the cases, or the cases from the closed
    jobs; empty if they agree."""
    missing = _not_learnt().using(using).order_by("pk").first()
    if missing:
        return f"job {missing.number} was not learnt from"
    cases = LearntCase.objects.using(using)
    stray = cases.exclude(pk__in=_right_cases().using(using)).first()
    if stray:
        return f"{stray} was learnt, but is not what the job says"
    right = Counter(_counts_of(_all_cases(using)))
    for row in LearntCount.objects.using(using).iterator(chunk_size=BATCH):
        for fault, count in row.faults.items():
            expected = right.pop((row.level, row.feature, int(fault)), 0)
            if count != expected:
                return f"“{row}” has {count} cases, but there are {expected}"
    return f"“{next(iter(right))[:2]}” is not counted" if right else ""


# --- which jobs, and their cases --------------------------------------------------


def _right_cases():
    """The cases whose job is closed with that fault."""
    return LearntCase.objects.filter(
        job__state__in=CLOSED,
        job__repairs__fault=F("fault"),
        job__repairs__outcome__in=KNOWN,
    ).values("pk")


def _not_learnt():
    """The closed jobs with a known fault that is no case yet."""
    known = Repair.objects.filter(outcome__in=KNOWN, job__state__in=CLOSED)
    learnt = LearntCase.objects.filter(job=OuterRef("job"), fault=OuterRef("fault"))
    jobs = known.exclude(Exists(learnt)).order_by().values("job")
    return Job.objects.filter(pk__in=jobs)


def _all_cases(using: str = "default") -> Iterator[LearntCase]:
    cases = LearntCase.objects.using(using).select_related("model").order_by("pk")
    return cases.iterator(chunk_size=2000)


def _new_cases(jobs: list[Job]) -> list[LearntCase]:
    """Return the cases of these closed jobs that are not stored, unsaved."""
    pks = [job.pk for job in jobs]
    faults = _grouped(Repair.objects.filter(job__in=pks, outcome__in=KNOWN), "fault_id")
    learnt = _grouped(LearntCase.objects.filter(job__in=pks), "fault_id")
    symptoms = _grouped(Job.symptoms.through.objects.filter(job__in=pks), "symptom_id")
    results = _grouped(
        CheckResult.objects.filter(job__in=pks), "check_made_id", "result"
    )
    closed = dict(
        JobTransition.objects.filter(job__in=pks, to_state=states.READY)
        .order_by()
        .values_list("job")
        .annotate(at=Max("made_at"))
    )
    cases = []
    for job in jobs:
        evidence = evidence_of(
            job,
            symptoms=(one for (one,) in symptoms.get(job.pk, ())),
            results=dict(results.get(job.pk, ())),
        )
        device, features = job.device, "\n".join(evidence.features())
        new = dict.fromkeys(faults.get(job.pk, ()))
        for (fault,) in [one for one in new if one not in learnt.get(job.pk, ())]:
            cases.append(
                LearntCase(
                    job=job,
                    fault_id=fault,
                    model=device.model,
                    board=device.board_revision,
                    closed_on=_closed_on(job, closed.get(job.pk)),
                    features=features,
                )
            )
    return cases


def _closed_on(job: Job, at) -> date:
    """Return the day of closing; a past job has only that of its handover."""
    if job.is_from_history or at is None:
        return job.handed_over_on or job.booked_in_on
    return timezone.localdate(at)


def _grouped(rows, *columns: str) -> dict[int, list[tuple]]:
    found: dict[int, list[tuple]] = {}
    for job, *values in rows.order_by("pk").values_list("job_id", *columns):
        found.setdefault(job, []).append(tuple(values))
    return found


# --- counting ---------------------------------------------------------------------


def place_of_case(case: LearntCase) -> Place:
    return Place(case.model.kind, case.model_id, case.board)


def _counts_of(cases: Iterable[LearntCase]) -> Counter[tuple[str, str, int]]:
    """Return how often each level, feature and fault occurs in the cases."""
    return Counter(
        (*key, case.fault_id)
        for case in cases
        for key in counted(place_of_case(case), case.keys)
    )


def _change_counts(changes: Counter[tuple[str, str, int]], *, sign: int) -> None:
    """Add to the stored counts, or take away; rows are locked in one order."""
    by_row: dict[Key, dict[str, int]] = {}
    for (level, feature, fault), count in changes.items():
        by_row.setdefault((level, feature), {})[str(fault)] = sign * count
    is_large = len(by_row) > MANY_ROWS
    keys = iter(sorted(by_row))
    while batch := list(islice(keys, BATCH)):
        _change_rows({key: by_row[key] for key in batch}, is_large=is_large)


def _change_rows(by_row: dict[Key, dict[str, int]], *, is_large: bool) -> None:
    if not is_large:
        # So that two jobs closed at once do not both add a row.
        LearntCount.objects.bulk_create(
            [LearntCount(level=level, feature=feature) for level, feature in by_row],
            ignore_conflicts=True,
        )
    of_level: dict[str, list[str]] = {}
    for level, feature in by_row:
        of_level.setdefault(level, []).append(feature)
    wanted = Q()
    for level, features in of_level.items():
        wanted |= Q(level=level, feature__in=features)
    rows = LearntCount.objects.select_for_update().filter(wanted)
    found = {(row.level, row.feature): row for row in rows.order_by("level", "feature")}
    for key in by_row:
        row = found.setdefault(key, LearntCount(level=key[0], feature=key[1]))
        faults = Counter(row.faults)
        faults.update(by_row[key])
        row.faults = {fault: n for fault, n in faults.items() if n}
    stored = [row for row in found.values() if row.pk]
    left = [row for row in found.values() if row.faults_json != "{}"]
    if is_large:  # an UPDATE with a case for each row would take far longer
        LearntCount.objects.filter(pk__in=[row.pk for row in stored]).delete()
        LearntCount.objects.bulk_create(left)
        return
    LearntCount.objects.bulk_update(left, ["faults_json"])
    empty = [row.pk for row in stored if row.faults_json == "{}"]
    LearntCount.objects.filter(pk__in=empty).delete()


def models_of(model: DeviceModel) -> tuple[int, ...]:
    """Return the models of the same family."""
    if not model.family or model.pk is None:
        return ()
    found = DeviceModel.objects.of_family(model).order_by("pk")
    return tuple(found.values_list("pk", flat=True))
