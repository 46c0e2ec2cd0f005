"""How often would the true fault have been found, using only what was known then?

The past is gone through by day: a job is predicted with what was learnt from jobs
closed before the day it came in. A job with several faults is found by any of them. A
job whose fault was never seen before counts as missed.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from repairs.diagnosis.evidence import ALL, Place, counted, read_features
from repairs.diagnosis.likely_faults import FaultCounts, rank

TOPS = (1, 3, 5)
GROWTH = 1.03
"""The general library learns again whenever it has this many times the cases."""


@dataclass(frozen=True)
class PastCase:
    """A job of the past: when it came and was closed, and its true faults."""

    came_on: date
    closed_on: date
    place: Place
    features: Sequence[str]
    faults: frozenset[int]

    def keys(self) -> list[str]:
        """Return what is known of it, as names for a general library."""
        place = self.place
        levels = [level for step in place.steps[1:] for level in step]
        return [*levels, *self.features]


class Score:
    """How often the true fault ranks among the first 1, 3 and 5."""

    def __init__(self) -> None:
        self.jobs = 0
        self.hits = dict.fromkeys(TOPS, 0)

    def add(self, ranked: Sequence[int], true: frozenset[int]) -> None:
        self.jobs += 1
        for top in TOPS:
            self.hits[top] += not true.isdisjoint(ranked[:top])

    def shares(self) -> dict[str, float]:
        return {str(top): self.hits[top] / max(self.jobs, 1) for top in TOPS}


def replay(
    cases: Sequence[PastCase],
    *,
    start: date | None = None,
    library: bool = True,
    progress: Callable[[int], object] = lambda jobs: None,
) -> dict[str, Any]:
    """Return the number of jobs that were predicted, the share that each method found,
    and the mean probability that ours stated for its first fault, which should equal
    the share found.

    Jobs that came before `start` are only learnt from. `library` says whether
    scikit-learn's naive Bayes is asked as well.
    """
    faults = sorted({fault for case in cases for fault in case.faults})
    counts = FaultCounts(faults)
    ours, baseline, stated = Score(), Score(), 0.0
    for case, closed in _by_day(cases):
        for earlier in closed:
            for fault in sorted(earlier.faults):
                for key in counted(earlier.place, earlier.features):
                    counts.add(*key, fault)
        if start is None or case.came_on >= start:
            seen = counts.of([""], ALL)
            known = [fault for fault in faults if seen[counts.number[fault]]]
            ranking = rank(counts, case.place, read_features(case.features))
            ranked = ranking.best(known) if known else []
            ours.add([fault for fault, _ in ranked], case.faults)
            stated += ranked[0][1] if ranked else 0
            baseline.add(most_frequent(counts, case.place), case.faults)
        progress(1)
    found = {"jobs": ours.jobs, "ours": ours.shares(), "baseline": baseline.shares()}
    found["stated"] = stated / max(ours.jobs, 1)
    other = _naive_bayes(cases, start=start) if library else None
    return found | ({"naive_bayes": other.shares()} if other else {})


def _by_day(cases: Sequence[PastCase]) -> Iterator[tuple[PastCase, list[PastCase]]]:
    """Yield each case in the order in which they came, and what was closed before."""
    closed = sorted(cases, key=lambda case: case.closed_on)
    done = 0
    for case in sorted(cases, key=lambda case: case.came_on):
        first = done
        while done < len(closed) and closed[done].closed_on < case.came_on:
            done += 1
        yield case, closed[first:done]


def most_frequent(counts: FaultCounts, place: Place) -> list[int]:
    """Return the faults in the order in which they are frequent: of the model, where
    these are equal of the kind, then of the shop."""
    shop, kind, *own = place.steps
    rows = [counts.of(shop, ALL), counts.of(kind, ALL)]
    if place.model is not None:
        rows.append(counts.of(own[-2 if place.board else -1], ALL))
    order = np.lexsort([-row for row in rows])
    return [counts.faults[n] for n in order if rows[0][n]]


def _naive_bayes(cases: Sequence[PastCase], *, start: date | None) -> Score | None:
    """Return the score of scikit-learn's naive Bayes; None if it is not installed.

    It sees the same of each job, and learns again when the cases have grown a little.
    """
    try:
        from sklearn.feature_extraction import DictVectorizer
        from sklearn.naive_bayes import BernoulliNB
    except ImportError:
        return None
    score, size = Score(), 0
    learnt: list[tuple[PastCase, int]] = []
    waiting: list[PastCase] = []
    model: Any = None
    names: Any = None

    def answer() -> None:
        ranked: list[list[int]] = [[] for _ in waiting]
        if model is not None and waiting:
            rows = names.transform([dict.fromkeys(one.keys(), 1) for one in waiting])
            order = np.argsort(-model.predict_joint_log_proba(rows), axis=1)
            ranked = model.classes_[order[:, : max(TOPS)]].tolist()
        for one, faults in zip(waiting, ranked, strict=True):
            score.add(faults, one.faults)
        waiting.clear()

    for case, closed in _by_day(cases):
        learnt += [(one, fault) for one in closed for fault in sorted(one.faults)]
        if len(learnt) > GROWTH * size:
            answer()
            size, names = len(learnt), DictVectorizer()
            rows = names.fit_transform(
                [dict.fromkeys(one.keys(), 1) for one, _ in learnt]
            )
            model = BernoulliNB().fit(rows, [fault for _, fault in learnt])
        if start is None or case.came_on >= start:
            waiting.append(case)
    answer()
    return score
