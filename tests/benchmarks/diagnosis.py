"""How near does the diagnosis come to who knows the true probabilities?

    .venv/bin/python -m tests.benchmarks.diagnosis [--reps 40] [--jobs 50 300 800 3000]

Invented shops of which everything is known. Each learns from its jobs and is asked
about further ones: by our method, by the model's most frequent faults, and by an oracle
that knows how often each fault occurs on each model and how often each symptom, result
and word goes with it.
"""

import argparse
import math
from dataclasses import dataclass

import numpy as np

from repairs.diagnosis.evidence import Evidence, Place, counted
from repairs.diagnosis.likely_faults import FaultCounts, rank
from repairs.diagnosis.replaying import most_frequent
from tests.benchmarks.machine import described

ASKED = 300
TOP = 3
SEED = 20


@dataclass(frozen=True)
class Scenario:
    """What the jobs of an invented shop tell."""

    name: str
    faults: int = 40
    models: int = 16
    symptoms: bool = True
    checks: bool = True
    words: str = "keywords"  # or "sentences", or ""
    noise: float = 0.02
    model_spread: float = 0.6


SCENARIOS = (
    Scenario("all that is recorded"),
    Scenario("noisy symptoms", noise=0.08),
    Scenario("models differ much", model_spread=1.5),
    Scenario("100 faults", faults=100, models=30),
    Scenario("symptoms only", checks=False, words=""),
    Scenario("one symptom a job", checks=False, words="", noise=-1),
    Scenario("complaints only, keywords", symptoms=False, checks=False),
    Scenario(
        "complaints only, sentences", symptoms=False, checks=False, words="sentences"
    ),
    Scenario("device only", symptoms=False, checks=False, words=""),
)


class InventedShop:
    """A shop whose true probabilities are known."""

    def __init__(self, scenario: Scenario, rng: np.random.Generator):
        self.scenario, self.rng = scenario, rng
        n, kinds = scenario.faults, 4
        self.kind_of = np.arange(scenario.models) % kinds
        occurs = rng.random((kinds, n)) < 0.4
        occurs[rng.integers(0, kinds, n), np.arange(n)] = True
        often = rng.gamma(0.7, size=n)
        shares = occurs * often * rng.lognormal(0, 0.5, (kinds, n))
        shares = shares[self.kind_of]
        shares *= rng.lognormal(0, scenario.model_spread, shares.shape)
        self.shares = shares / shares.sum(axis=1, keepdims=True)
        self.model_weights = 1 / (1 + np.arange(scenario.models))
        self.model_weights /= self.model_weights.sum()
        # Each fault has a few symptoms of its own, some shared with others.
        self.symptoms = np.full((25, n), max(scenario.noise, 0.01))
        self.results = rng.dirichlet([2, 1, 1], size=8)[:, :, None] * np.ones(n)
        self.words = np.full((150, n), 0.015)
        self.sentences = []
        for fault in range(n):
            few = rng.choice(25, rng.integers(2, 5), replace=False)
            self.symptoms[few, fault] = rng.uniform(0.3, 0.9, len(few))
            for check in rng.choice(8, 3, replace=False):
                clear = np.full(3, 0.1)
                clear[rng.integers(3)] = 0.8
                self.results[check, :, fault] = clear
            few = rng.choice(150, 6, replace=False)
            self.words[few, fault] = rng.uniform(0.1, 0.5, 6)
            self.sentences.append([rng.choice(150, 7) for _ in range(3)])

    def job(self):
        """Return model, fault and what is seen: symptoms, results and words."""
        rng, scenario = self.rng, self.scenario
        model = int(rng.choice(scenario.models, p=self.model_weights))
        fault = int(rng.choice(scenario.faults, p=self.shares[model]))
        symptoms, results, words = (), {}, ()
        if scenario.symptoms and scenario.noise < 0:
            chances = self.symptoms[:, fault] / self.symptoms[:, fault].sum()
            symptoms = (int(rng.choice(25, p=chances)),)
        elif scenario.symptoms:
            symptoms = np.flatnonzero(rng.random(25) < self.symptoms[:, fault])
        if scenario.checks:
            for check in rng.choice(8, rng.integers(0, 3), replace=False):
                result = rng.choice(3, p=self.results[check, :, fault])
                results[int(check)] = str(result)
        if scenario.words == "keywords":
            words = np.flatnonzero(rng.random(150) < self.words[:, fault])
        elif scenario.words:
            sentence = self.sentences[fault][rng.integers(3)]
            words = sentence[rng.random(7) < 0.85]
        return model, fault, _evidence(symptoms, results, words)

    def place(self, model: int) -> Place:
        return Place(f"kind {self.kind_of[model]}", model)

    def true_probabilities(self, model: int, evidence: Evidence) -> np.ndarray:
        """Return what who knows the shop's probabilities says of such a job."""
        scenario = self.scenario
        scores = np.log(self.shares[model] + 1e-300)
        seen = np.isin(np.arange(25), list(evidence.symptoms))[:, None]
        if scenario.symptoms and scenario.noise < 0:
            chances = self.symptoms / self.symptoms.sum(axis=0)
            scores += np.log(chances[list(evidence.symptoms)]).sum(axis=0)
        elif scenario.symptoms:
            scores += np.log(np.where(seen, self.symptoms, 1 - self.symptoms)).sum(0)
        for check, result in evidence.results.items():
            scores += np.log(self.results[check, int(result)])
        words = [int(word) for word in evidence.words]
        if scenario.words == "keywords":
            said = np.isin(np.arange(150), words)[:, None]
            scores += np.log(np.where(said, self.words, 1 - self.words)).sum(0)
        elif scenario.words:
            scores += np.array(
                [self._of_sentence(f, set(words)) for f in range(len(scores))]
            )
        return scores

    def _of_sentence(self, fault: int, said: set[int]) -> float:
        fits = []
        for sentence in self.sentences[fault]:
            words = set(sentence.tolist())
            if said <= words:
                fits.append(0.15 ** len(words - said) * 0.85 ** len(said))
        return math.log(sum(fits) / 3) if fits else -700.0


def _evidence(symptoms, results, words) -> Evidence:
    return Evidence(
        frozenset(int(one) for one in symptoms),
        results,
        frozenset(str(one) for one in words),
    )


def hits(scenario: Scenario, *, jobs: int, seed: int) -> dict[str, float]:
    """Return the share of further jobs whose fault is among the first three."""
    rng = np.random.default_rng(seed)
    shop = InventedShop(scenario, rng)
    counts = FaultCounts(range(scenario.faults))
    for _ in range(jobs):
        model, fault, evidence = shop.job()
        for key in counted(shop.place(model), evidence.features()):
            counts.add(*key, fault)
    found = dict.fromkeys(("ours", "frequent", "oracle"), 0)
    for _ in range(ASKED):
        model, fault, evidence = shop.job()
        place = shop.place(model)
        ours = [f for f, _ in rank(counts, place, evidence).best()[:TOP]]
        oracle = np.argsort(-shop.true_probabilities(model, evidence))[:TOP]
        found["ours"] += fault in ours
        found["frequent"] += fault in most_frequent(counts, place)[:TOP]
        found["oracle"] += fault in oracle
    return {name: count / ASKED for name, count in found.items()}


def ratio(above: np.ndarray, below: np.ndarray) -> tuple[float, float]:
    """Return the ratio of two means over shops, and its standard error (jackknife)."""
    n = len(above)
    left = (above.sum() - above) / (below.sum() - below)
    error = math.sqrt((n - 1) / n * ((left - left.mean()) ** 2).sum())
    return float(above.sum() / below.sum()), error


def study(
    scenario: Scenario, *, jobs: int, reps: int, seed: int = SEED
) -> dict[str, np.ndarray]:
    rows = [hits(scenario, jobs=jobs, seed=seed + 1000 * rep) for rep in range(reps)]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--reps", type=int, default=40)
    parser.add_argument("--jobs", type=int, nargs="+", default=[50, 300, 800, 3000])
    parser.add_argument("--only", nargs="+")
    args = parser.parse_args()
    print(f"{described('numpy', 'scipy')}\n{args.reps} shops each, seed {SEED}\n")
    heads = ["shop", "jobs", "ours", "most frequent", "oracle"]
    heads += ["ours ÷ oracle", "ours ÷ most frequent"]
    print(f"| {' | '.join(heads)} |\n| --- |{' ---: |' * (len(heads) - 1)}")
    for scenario in SCENARIOS:
        if args.only and scenario.name not in args.only:
            continue
        for jobs in args.jobs:
            found = study(scenario, jobs=jobs, reps=args.reps)
            shares = " | ".join(f"{found[n].mean():.3f}" for n in found)
            against = [ratio(found["ours"], found[n]) for n in ("oracle", "frequent")]
            ratios = " | ".join(f"{r:.3f}±{e:.3f}" for r, e in against)
            print(f"| {scenario.name} | {jobs:,} | {shares} | {ratios} |", flush=True)


if __name__ == "__main__":
    main()
