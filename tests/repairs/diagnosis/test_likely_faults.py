"""Ranking faults: what is seen decides, and with little data what is frequent."""

import numpy as np
import pytest

from repairs.diagnosis.evidence import Evidence, Place, counted, read_features
from repairs.diagnosis.likely_faults import FaultCounts, frequencies, pooled, rank
from repairs.diagnosis.next_check import best_checks
from tests.benchmarks.diagnosis import (
    SCENARIOS,
    InventedShop,
    Scenario,
    ratio,
    study,
)

LOOSE, WORN, DEAD = 1, 2, 3
LAPTOP = Place("laptop", 7)


def counts_of(*cases):
    """FaultCounts of cases: place, fault, evidence, how many of them."""
    counts = FaultCounts([LOOSE, WORN, DEAD])
    for place, fault, evidence, times in cases:
        for key in counted(place, evidence.features()):
            counts.add(*key, fault, times)
    return counts


def seen(symptoms=(), words=(), **results):
    results = {int(check[1:]): result for check, result in results.items()}
    return Evidence(frozenset(symptoms), results, frozenset(words))


def test_features_can_be_read_back():
    evidence = seen({4, 11}, {"a1", "b2"}, c3="drops = out")
    assert read_features(evidence.features()) == evidence


def test_a_symptom_a_result_and_a_word_each_name_the_fault():
    counts = counts_of(
        (LAPTOP, LOOSE, seen({1}, {"w"}, c5="drops out"), 10),
        (LAPTOP, WORN, seen({2}, {"x"}, c5="holds"), 10),
    )
    for evidence in (seen({1}), seen(words={"w"}), seen(c5="Drops  out")):
        (first, chance), *_ = rank(counts, LAPTOP, evidence).best()
        assert first == LOOSE and chance > 0.75
    nothing = rank(counts, LAPTOP, seen())
    assert nothing.best()[0][1] == pytest.approx((1 - nothing.new) / 2, abs=0.01)
    unknown = rank(counts, LAPTOP, seen({99}, {"zz"}, c9="odd", c5="odd"))
    assert unknown.probabilities.sum() + unknown.new == pytest.approx(1)


def test_without_evidence_the_most_frequent_faults_of_the_model_lead():
    other = Place("laptop", 8)
    counts = counts_of(
        (LAPTOP, DEAD, seen(), 6),
        (other, LOOSE, seen(), 30),
        (Place("amplifier", 9), WORN, seen(), 200),
    )
    assert [f for f, _ in rank(counts, LAPTOP, seen()).best()] == [DEAD, LOOSE, WORN]
    unknown_model = Place("laptop")
    assert rank(counts, unknown_model, seen()).best()[0][0] == LOOSE
    assert rank(counts, Place("phone", 4), seen()).best()[0][0] == WORN


def test_models_of_a_family_and_a_board_count():
    counts = counts_of(
        (Place("laptop", 8, "B"), LOOSE, seen(), 12),
        (Place("laptop", 8, "C"), WORN, seen(), 12),
        (Place("laptop", 9), DEAD, seen(), 24),
    )
    alone, family = Place("laptop", 7), Place("laptop", 7, family=(7, 8))
    of_dead = [rank(counts, p, seen()).probabilities[2] for p in (alone, family)]
    assert of_dead[0] > 2 * of_dead[1]
    assert rank(counts, Place("laptop", 8, "C"), seen()).best()[0][0] == WORN


def test_pooling_follows_the_level_above_until_there_is_data():
    above = np.array([0.6, 0.3, 0.1])
    assert pooled(np.zeros(3), above) is above
    few, many = np.array([0.0, 0, 2]), np.array([0.0, 0, 2000])
    assert 0.1 < pooled(few, above)[2] < 0.8 < 0.99 < pooled(many, above)[2]
    assert pooled(few, above).sum() == pytest.approx(1)
    assert frequencies(counts_of(), LAPTOP) == pytest.approx(np.full(3, 1 / 3))


def test_what_is_not_offered_is_left_out():
    counts = counts_of((LAPTOP, LOOSE, seen(), 9), (LAPTOP, WORN, seen(), 1))
    found = rank(counts, LAPTOP, seen())
    assert found.best([WORN, 99]) == [(WORN, pytest.approx(1 - found.new))]
    assert rank(FaultCounts([]), LAPTOP, seen({1})).best() == []


def test_the_next_check_is_the_one_that_separates_per_minute():
    counts = counts_of(
        (LAPTOP, LOOSE, seen({1}, c5="drops out", c6="a", c7="x"), 20),
        (LAPTOP, WORN, seen({1}, c5="holds", c6="a", c7="y"), 20),
        (LAPTOP, WORN, seen({1}, c6="b"), 1),
    )
    ranking = rank(counts, LAPTOP, seen({1}))
    minutes = [(5, 4), (6, 1), (7, 40), (8, 1)]
    first, *others = best_checks(ranking, minutes, offered=[LOOSE, WORN])
    assert first.check == 5 and 7 in [one.check for one in others]
    assert first.separates in (
        ((LOOSE, "drops out"), (WORN, "holds")),
        ((WORN, "holds"), (LOOSE, "drops out")),
    )
    assert 0.5 < first.gain <= 1 and first.per_minute == first.gain / 4
    after = rank(counts, LAPTOP, seen({1}, c5="holds"))
    assert 5 not in [c.check for c in best_checks(after, minutes, offered=[WORN])]
    assert best_checks(after, minutes, offered=[]) == []


# A small version of tests/benchmarks/diagnosis.py, with other shops.
@pytest.mark.once
@pytest.mark.parametrize("jobs", [50, 800])
def test_in_invented_shops_it_comes_near_who_knows_the_truth(jobs):
    found = study(SCENARIOS[0], jobs=jobs, reps=3, seed=5)
    against_frequent, error = ratio(found["ours"], found["frequent"])
    against_oracle, _ = ratio(found["ours"], found["oracle"])
    assert against_frequent - 2 * error > 1.2
    assert against_oracle > (0.92 if jobs == 800 else 0.6)


def test_a_fault_that_was_never_recorded_is_as_likely_as_it_says():
    """In invented shops with many rare faults, after few and after more jobs."""
    for jobs in (40, 300):
        stated, new = [], []
        for seed in range(5):
            scenario = Scenario("rare faults", faults=100, models=8)
            shop = InventedShop(scenario, np.random.default_rng(seed))
            past = [shop.job() for _ in range(jobs)]
            counts = FaultCounts({fault: None for _, fault, _ in past})
            for model, fault, evidence in past:
                for key in counted(shop.place(model), evidence.features()):
                    counts.add(*key, fault)
            for model, fault, evidence in (shop.job() for _ in range(100)):
                stated.append(rank(counts, shop.place(model), evidence))
                new.append(fault not in counts.number)
        said = np.array([one.new for one in stated])
        new = np.array(new)
        error = np.sqrt(new.var() / len(new))
        assert said.mean() == pytest.approx(new.mean(), abs=4 * error + 0.02)
    # With 300 jobs it tells them apart: what is seen of a new fault fits no other.
    assert said[new].mean() > 2 * said[~new].mean()
