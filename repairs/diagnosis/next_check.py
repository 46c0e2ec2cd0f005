"""Which bench check tells most about the fault, for the minutes it takes?

Source: Shannon (1948) for entropy; Quinlan (1986), Induction of Decision Trees, for the
information gain of a question with several answers.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from repairs.diagnosis.likely_faults import Ranking, Vector

MIN_GAIN = 0.05
"""In bits; a check that tells less is not proposed."""
MIN_CHANCE = 0.02
"""Faults less likely than this are not named in the reason."""


def entropy(probabilities: Vector) -> float:
    """Return the entropy in bits."""
    some = probabilities[probabilities > 0]
    return float(-(some * np.log2(some)).sum())


def information_gain(probabilities: Vector, chances: Vector) -> float:
    """Return by how many bits the answer reduces the entropy on average.

    `chances` are those of each answer (row) in each class (column).
    """
    joint = chances * probabilities
    answers = joint.sum(axis=1)
    left = sum(
        share * entropy(row / share)
        for row, share in zip(joint, answers, strict=True)
        if share > 0
    )
    return float(entropy(probabilities) - left)


@dataclass(frozen=True)
class ProposedCheck:
    """A check, what it tells, and the faults that it separates: each with the result
    that speaks for it."""

    check: int
    gain: float
    per_minute: float
    separates: tuple[tuple[int, str], ...]


def best_checks(
    ranking: Ranking,
    minutes: Iterable[tuple[int, int]],
    *,
    offered: Iterable[int],
    limit: int = 3,
) -> list[ProposedCheck]:
    """Return the checks that tell most per minute. `minutes` are those that each check
    takes; checks that were made are left out."""
    chosen = set(offered)
    mask = np.array([fault in chosen for fault in ranking.counts.faults])
    probabilities = np.where(mask, ranking.probabilities, 0.0) if len(mask) else mask
    if not probabilities.any():
        return []
    probabilities = probabilities / probabilities.sum()
    found = []
    for check, duration in minutes:
        is_made = check in ranking.evidence.results
        if is_made or len(ranking.counts.results.get(check, {})) < 2:
            continue
        results, chances = ranking.chances_of_results(check)
        gain = information_gain(probabilities, chances)
        if gain >= MIN_GAIN:
            separates = _separated(ranking, probabilities, results, chances)
            per_minute = gain / max(duration, 1)
            found.append(ProposedCheck(check, gain, per_minute, separates))
    return sorted(found, key=lambda one: -one.per_minute)[:limit]


def _separated(
    ranking: Ranking, probabilities: Vector, results: Sequence[str], chances: Vector
) -> tuple[tuple[int, str], ...]:
    """Return the two likely faults that the check tells apart best."""
    likely = [
        n for n in np.argsort(-probabilities)[:6] if probabilities[n] > MIN_CHANCE
    ]
    best, pair = 0.0, None
    for i, one in enumerate(likely):
        for other in likely[i + 1 :]:
            share = probabilities[[one, other]] / probabilities[[one, other]].sum()
            gain = information_gain(share, chances[:, [one, other]])
            gain *= float(probabilities[[one, other]].sum())
            if gain > best:
                best, pair = gain, (one, other)
    if pair is None:
        return ()
    one, other = pair
    for_one = int(np.argmax(chances[:, one] / chances[:, other]))
    for_other = int(np.argmax(chances[:, other] / chances[:, one]))
    faults = ranking.counts.faults
    return (faults[one], results[for_one]), (faults[other], results[for_other])
