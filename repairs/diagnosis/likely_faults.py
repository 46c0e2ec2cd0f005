"""How likely is each fault, given the device and what was seen of it?

A naive Bayes of which every part is partially pooled: how often a fault occurs, from
the shop to the kind of device, the family, the model and its board; how often a
symptom, a result or a word goes with a fault, from all faults to this fault and again
down to the model. With little data it says what the most frequent faults of the model,
the kind or the shop say. Beside the recorded faults stands one that was never recorded:
it is likely where many were found just once, or where what is seen fits none of them.

Sources: Good (1965), The Estimation of Probabilities, for the pooled Dirichlet; Hand
and Yu (2001), Idiot's Bayes, for the naive part; Good (1953), The Population
Frequencies of Species, for what was not met yet.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betaln, expit, gammaln, logit

from repairs.diagnosis.evidence import (
    ALL,
    WITH_SYMPTOMS,
    WITH_WORDS,
    Evidence,
    Place,
    result_key,
    symptom_key,
    word_key,
)

Vector = npt.NDArray[np.float64]

# How strongly frequencies are drawn to those of the level above: not known, so each is
# weighed by how well it predicts what was counted (its marginal likelihood).
STRENGTHS = np.array([1.0, 3.0, 10.0, 30.0, 100.0, 300.0])
# The following were chosen in simulated shops other than those of the published tables
# (tests/benchmarks/diagnosis.py with another seed).
TYPICAL = 0.4
"""Share of what is seen of a symptom that comes from faults it is typical of."""
BY_CHANCE = 100.0
"""Jobs as which the rate of a symptom that is not typical counts."""
TO_LEVEL_ABOVE = 30.0
"""Jobs as which the level above counts in what is seen with a fault."""
TO_ALL_FAULTS = 1.0
"""The same of all faults, in the results of a check."""
WORD_WEIGHT, WORD_OVERLAP = 0.8, 0.15
"""Words of a sentence come together, so they count less than if each came alone: the
weight of one word, and what each further word takes from all."""
RARE = 0.5
"""Jobs in which something is taken to have been seen before it was ever seen."""


class FaultCounts:
    """How often each fault was found, at each level and with each feature."""

    def __init__(self, faults: Iterable[int]) -> None:
        self.faults = list(faults)
        self.number = {fault: n for n, fault in enumerate(self.faults)}
        self._number_of_text = {str(fault): n for fault, n in self.number.items()}
        self._rows: dict[tuple[str, str], Vector] = {}
        self._none = np.zeros(len(self.faults))
        self.symptoms: dict[int, None] = {}
        """Symptoms that were counted, in the order in which they were met."""
        self.results: dict[int, dict[str, None]] = {}
        """The results of each check that were counted."""

    def add(self, level: str, feature: str, fault: int, count: float = 1) -> None:
        self.row(level, feature)[self.number[fault]] += count

    def set(self, level: str, feature: str, faults: Mapping[str, int]) -> None:
        """Take over stored counts, by the faults' numbers as text."""
        row, number = self.row(level, feature), self._number_of_text
        known = [fault for fault in faults if fault in number]
        row[[number[fault] for fault in known]] = [faults[fault] for fault in known]

    def row(self, level: str, feature: str) -> Vector:
        """Return the counts of each fault, to be changed."""
        row = self._rows.get((level, feature))
        if row is None:
            row = self._rows[level, feature] = np.zeros(len(self.faults))
            if feature.startswith("s") and feature != WITH_SYMPTOMS:
                self.symptoms[int(feature[1:])] = None
            elif feature.startswith("c"):
                check, _, result = feature[1:].partition("=")
                self.results.setdefault(int(check), {})[result] = None
        return row

    def of(self, step: Sequence[str], feature: str) -> Vector:
        """Return the counts of each fault over the levels of one step, not changed."""
        if len(step) == 1:
            return self._rows.get((step[0], feature), self._none)
        found = [self._rows.get((level, feature), self._none) for level in step]
        return np.asarray(np.sum(found, axis=0))

    def table(self, step: Sequence[str], features: Sequence[str]) -> Vector:
        """Return the counts of each feature (row) and fault (column)."""
        return np.array([self.of(step, feature) for feature in features])


@dataclass(frozen=True)
class Ranking:
    """The faults with their probabilities, which add up to 1 with that of a new one."""

    counts: FaultCounts
    place: Place
    evidence: Evidence
    probabilities: Vector
    new: float
    """The probability of a fault that was never recorded."""

    def best(self, offered: Iterable[int] | None = None) -> list[tuple[int, float]]:
        """Return the faults that are `offered`, the likeliest first, each with its
        probability if it is one of them or a new one."""
        faults, chances = self.counts.faults, self.probabilities
        if offered is not None:
            chosen = set(offered)
            chances = np.where([fault in chosen for fault in faults], chances, 0)
            chances = chances * ((1 - self.new) / (chances.sum() or 1))
        order = np.argsort(-chances, kind="stable")
        return [(faults[n], float(chances[n])) for n in order if chances[n] > 0]

    def chances_of_results(self, check: int) -> tuple[list[str], Vector]:
        """Return the results of a check, and the chance of each (row) for each fault
        (column)."""
        results = list(self.counts.results.get(check, {}))
        chances = result_chances(self.counts, self.place, check, results)
        return results, chances[:, :-1]

    def chances_of_symptoms(self) -> list[tuple[int, Vector]]:
        """Return each known symptom with its chance for each fault."""
        known = list(self.counts.symptoms)
        if not known:
            return []
        chances = symptom_chances(self.counts, self.place)[:, :-1]
        return list(zip(known, chances, strict=True))


def rank(counts: FaultCounts, place: Place, evidence: Evidence) -> Ranking:
    """Return how likely each fault is."""
    if not counts.faults:
        return Ranking(counts, place, evidence, np.zeros(0), new=1.0)
    new = share_of_new(counts.of(place.steps[0], ALL))
    found = [np.append((1 - new) * frequencies(counts, place), new)]
    if evidence.symptoms:
        found.append(_symptom_likelihood(counts, place, evidence.symptoms))
    for check, result in evidence.results.items():
        found.append(_result_likelihood(counts, place, check, result))
    if evidence.words:
        found.append(_word_likelihood(counts, place, evidence.words))
    *known, new = posterior(*found)
    return Ranking(counts, place, evidence, np.array(known), float(new))


def share_of_new(counted: Vector) -> float:
    """Return the share of jobs with a fault that was never counted (Good and Turing).

    That is the share of those counted once; one more of each kind stands for little
    data.
    """
    return float(((counted == 1).sum() + 1) / (counted.sum() + 2))


def posterior(shares: Vector, *likelihoods: Vector) -> Vector:
    """Return the probability of each fault, from its share of all jobs and from the
    likelihoods of what was seen, each taken to be independent of the others."""
    with np.errstate(divide="ignore"):
        return normalized(np.log([shares, *likelihoods]).sum(axis=0))


def normalized(scores: Vector) -> Vector:
    """Return probabilities in proportion to the exponentials of `scores`."""
    shares = np.exp(scores - scores.max())
    return np.asarray(shares / shares.sum())


def frequencies(counts: FaultCounts, place: Place) -> Vector:
    """Return how often each fault occurs in such devices, whatever is seen of them."""
    shares = np.full(len(counts.faults), 1 / len(counts.faults))
    for step in place.steps:
        shares = pooled(counts.of(step, ALL), shares)
    return shares


def pooled(counted: Vector, above: Vector) -> Vector:
    """Return shares from counts, drawn to the shares of the level above.

    The strength is averaged over `STRENGTHS`, weighed by the marginal likelihood of the
    counts (Dirichlet-multinomial).
    """
    total = counted.sum()
    if not total:
        return above
    seen = counted > 0
    prior = STRENGTHS[:, None] * above[seen]
    fits = (gammaln(counted[seen] + prior) - gammaln(prior)).sum(axis=1)
    fits += gammaln(STRENGTHS) - gammaln(STRENGTHS + total)
    weights = normalized(fits) / (total + STRENGTHS)
    return np.asarray(weights.sum() * counted + (weights @ STRENGTHS) * above)


def smoothed(with_it: Vector, of: Vector, above: Vector, *, strength: float) -> Vector:
    """Return shares `with_it / of`, drawn to those above as by `strength` jobs."""
    return np.asarray((with_it + strength * above) / (of + strength))


def told_apart(with_it: Vector, of: Vector, everywhere: Vector) -> Vector:
    """Return the chance of each feature (row) with each fault (column).

    A feature either goes with a fault, at any rate, or is no more frequent with it than
    by chance; which of the two is weighed by the marginal likelihood of the counts.
    """
    by_chance = ((1 - TYPICAL) * everywhere)[:, None]
    is_typical = TYPICAL * everywhere[:, None] / np.maximum(0.5 - by_chance, 0.1)
    is_typical = np.clip(is_typical, 0.001, 0.6)
    without = of - with_it
    low, high = BY_CHANCE * by_chance, BY_CHANCE * (1 - by_chance)
    fits = betaln(with_it + 1, without + 1) - betaln(with_it + low, without + high)
    weight = expit(logit(is_typical) + fits + betaln(low, high))
    typical = (with_it + 1) / (of + 2)
    return np.asarray(
        weight * typical + (1 - weight) * (with_it + low) / (of + BY_CHANCE)
    )


def _down(
    counts: FaultCounts, place: Place, features: Sequence[str], total: str, depth: int
) -> Vector:
    """Return the chance of each feature (row) with each fault (column), the last of
    which is a new one, with which it is as frequent as anywhere."""
    steps = place.steps[:depth]
    with_it, of = counts.table(steps[0], features), counts.of(steps[0], total)
    everywhere = (with_it.sum(axis=1) + RARE) / (of.sum() + 2 * RARE)
    chances = told_apart(with_it, of, everywhere)
    for step in steps[1:]:
        of = counts.of(step, total)
        if of.any():
            with_it = counts.table(step, features)
            chances = smoothed(with_it, of, chances, strength=TO_LEVEL_ABOVE)
    return np.column_stack([chances, everywhere])


def _symptom_likelihood(
    counts: FaultCounts, place: Place, seen: frozenset[int]
) -> Vector:
    """Return the likelihood of seeing just these symptoms of all that are known."""
    known = list(counts.symptoms)
    if not known:
        return np.ones(len(counts.faults) + 1)
    chances = symptom_chances(counts, place)
    is_seen = np.array([symptom in seen for symptom in known])[:, None]
    scores = np.log(np.where(is_seen, chances, 1 - chances)).sum(axis=0)
    return np.asarray(np.exp(scores - scores.max()))


def symptom_chances(counts: FaultCounts, place: Place) -> Vector:
    """Return the chance of each known symptom (row) with each fault (column), the last
    of which is a new one."""
    keys = [symptom_key(symptom) for symptom in counts.symptoms]
    return _down(counts, place, keys, WITH_SYMPTOMS, _symptom_depth(place))


def _symptom_depth(place: Place) -> int:
    """Symptoms and results are counted down to the model, not to its board."""
    return len(place.steps) - bool(place.board and place.model is not None)


def _result_likelihood(
    counts: FaultCounts, place: Place, check: int, result: str
) -> Vector:
    key = result_key(check, result).partition("=")[2]
    results = list(counts.results.get(check, {}))
    if key not in results:
        return np.ones(len(counts.faults) + 1)
    chances = result_chances(counts, place, check, results)
    return np.asarray(chances[results.index(key)])


def result_chances(
    counts: FaultCounts, place: Place, check: int, results: Sequence[str]
) -> Vector:
    """Return the chance of each result (row) with each fault (column), the last of
    which is a new one."""
    keys = [result_key(check, result) for result in results]
    above: Vector | None = None
    for step in place.steps[: _symptom_depth(place)]:
        found = counts.table(step, keys)
        if above is None:
            everywhere = found.sum(axis=1, keepdims=True) + RARE
            everywhere = np.asarray(everywhere / everywhere.sum())
            above = everywhere * np.ones_like(found)
            above = smoothed(found, found.sum(axis=0), above, strength=TO_ALL_FAULTS)
        elif found.any():
            strength = TO_LEVEL_ABOVE
            above = smoothed(found, found.sum(axis=0), above, strength=strength)
    assert above is not None
    return np.column_stack([above, everywhere])


def _word_likelihood(
    counts: FaultCounts, place: Place, words: frozenset[str]
) -> Vector:
    """Return the likelihood of these words; what is not said says nothing."""
    shop = place.steps[0]
    keys = [word_key(word) for word in sorted(words)]
    keys = [key for key in keys if counts.of(shop, key).any()]
    if not keys:
        return np.ones(len(counts.faults) + 1)
    scores = np.log(_down(counts, place, keys, WITH_WORDS, 2)).sum(axis=0)
    scores *= WORD_WEIGHT / (1 + WORD_OVERLAP * (len(keys) - 1))
    return np.asarray(np.exp(scores - scores.max()))
