"""Invented shops whose truth is known: repairs by pair, and what came of each."""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

WITHIN = 90
LIMIT = 0.1
STOPGAP, RELIABLE = (6.0, 11.0), (1.5, 48.0)  # betas of the true chance, spread groups
TWO_POINTS = (0.35, 0.02)  # the same of two clear groups
HUMP = (1.2, 10.0)  # and of one smooth hump
HUMP_STOPGAP = 0.2  # in a hump, a stopgap is what comes back more often than this
OTHER_RETURNS = 0.03  # chance of a return for another fault, where it may be mistaken


@dataclass(frozen=True)
class Scenario:
    name: str
    pairs: int = 300
    repairs: int = 6000
    days: int = 540  # over which they were handed over, evenly
    truths: str = "spread"  # or "two points", "hump"
    stopgaps: float = 0.2
    said_of_stopgaps: float = 0.6  # share of true stopgaps declared one
    said_of_others: float = 0.1  # share of the others declared one
    fault_spread: float = 0.0  # of the log odds of being a stopgap, between faults
    fix_spread: float = 0.0  # the same between fixes, each of which serves many faults
    wrong: float = 0.0  # share of decisions "same fault or not" that are wrong
    elsewhere: float = 0.0  # share of comebacks that went to another shop
    is_proportional: bool = True
    informs: bool = True  # whether the declarations say anything true

    def seen(self, p):
        """The chance to be counted as a comeback here, of a true chance `p`."""
        right = p * (1.0 - self.wrong) * (1.0 - self.elsewhere)
        return 1.0 - (1.0 - right) * (1.0 - self.wrong * OTHER_RETURNS)

    def target(self, p):
        """The truth an estimate is held against: where comebacks go elsewhere, the
        chance to come back *here*. Nothing in a shop's records tells of the others.
        """
        return p * (1.0 - self.elsewhere)


SCENARIOS = (
    Scenario("two clear groups", truths="two points"),
    Scenario("spread groups"),
    Scenario("one smooth hump", truths="hump", said_of_stopgaps=0.5),
    Scenario("young shop, 180 days", days=180, repairs=2000),
    Scenario("60 pairs", pairs=60, repairs=1200),
    Scenario("5 % stopgaps", stopgaps=0.05),
    Scenario("hazards not proportional", is_proportional=False),
    Scenario("10 % of decisions wrong", wrong=0.1),
    Scenario("30 % went elsewhere", elsewhere=0.3),
    Scenario(
        "declarations say nothing",
        said_of_stopgaps=0.3,
        said_of_others=0.3,
        informs=False,
    ),
    Scenario(
        "declarations mislead",
        said_of_stopgaps=0.1,
        said_of_others=0.3,
        informs=False,
    ),
    Scenario("faults differ", fault_spread=1.5),
    Scenario("12 pairs", pairs=12, repairs=150),
    Scenario("fixes differ", fix_spread=1.5),
    Scenario("faults and fixes differ", fault_spread=1.0, fix_spread=1.0),
    Scenario(
        "60 pairs, declarations mislead",
        pairs=60,
        repairs=1200,
        said_of_stopgaps=0.1,
        said_of_others=0.3,
        informs=False,
    ),
)
BY_NAME = {scenario.name: scenario for scenario in SCENARIOS}


@dataclass(frozen=True)
class Shop:
    """A shop as its records show it, and the truth beside it."""

    scenario: Scenario
    pair: np.ndarray  # of each repair
    t: np.ndarray
    d: np.ndarray
    fault: np.ndarray  # of each pair
    fix: np.ndarray
    is_declared_stopgap: np.ndarray
    is_stopgap: np.ndarray
    truth: np.ndarray
    repairs: np.ndarray


def shop(scenario: Scenario, rng: np.random.Generator) -> Shop:
    """One shop of this kind."""
    n = scenario.pairs
    fault = np.sort(rng.integers(0, max(1, n // 3), n))
    fault = np.unique(fault, return_inverse=True)[1]
    of_fault = rng.normal(0.0, 1.0, fault.max() + 1) * scenario.fault_spread
    fix, of_fix = _fixes(scenario, fault, rng.spawn(1)[0])
    odds = logit(scenario.stopgaps) + of_fault[fault] + of_fix
    is_stopgap = rng.random(n) < expit(odds)
    p = _true_chances(scenario, is_stopgap, rng)
    if scenario.truths == "hump":
        is_stopgap = p > HUMP_STOPGAP
    said = np.where(is_stopgap, scenario.said_of_stopgaps, scenario.said_of_others)
    is_declared = rng.random(n) < said
    share = rng.permutation(1.0 / np.arange(1, n + 1))  # few pairs are common: Zipf
    repairs = np.maximum(1, rng.poisson(scenario.repairs * share / share.sum()))
    pair = np.repeat(np.arange(n), repairs)
    t, d = _watched(scenario, pair, p, is_stopgap, rng)
    return Shop(
        scenario=scenario,
        pair=pair,
        t=t,
        d=d,
        fault=fault,
        fix=fix,
        is_declared_stopgap=is_declared,
        is_stopgap=is_stopgap,
        truth=scenario.target(p),
        repairs=repairs,
    )


def _fixes(scenario, fault, rng):
    """The fix of each pair, one in four as many as pairs, none twice for a fault; and
    by how much it moves the log odds of being a stopgap.
    """
    many = max(1, len(fault) // 4, np.bincount(fault).max())
    fix = np.concatenate([rng.permutation(many)[:n] for n in np.bincount(fault)])
    return fix, (rng.normal(0.0, 1.0, many) * scenario.fix_spread)[fix]


def _true_chances(scenario, is_stopgap, rng):
    n = len(is_stopgap)
    if scenario.truths == "two points":
        return np.where(is_stopgap, *TWO_POINTS)
    if scenario.truths == "hump":
        return rng.beta(*HUMP, n)
    return np.where(is_stopgap, rng.beta(*STOPGAP, n), rng.beta(*RELIABLE, n))


def _watched(scenario, pair, p, is_stopgap, rng):
    """Days watched and comeback mark of each repair."""
    n = len(pair)
    age = rng.integers(0, scenario.days, n)
    hazard = -np.log1p(-p)
    # Stopgaps that come back early and others that come back late.
    shape = np.ones(len(p))
    if not scenario.is_proportional:
        shape = np.where(is_stopgap, 0.6, 1.4)
    scaled = np.minimum(rng.exponential(size=n) / hazard[pair], 1e6)
    back = np.ceil(WITHIN * scaled ** (1.0 / shape[pair]))
    known = rng.random(n) >= 1.0 - (1.0 - scenario.wrong) * (1.0 - scenario.elsewhere)
    end = np.minimum(age, WITHIN)
    back = np.where(known & (back <= end), back, np.inf)
    other = np.ceil(WITHIN * rng.exponential(size=n) / -np.log1p(-OTHER_RETURNS))
    mistaken = (rng.random(n) < scenario.wrong) & (other <= end)
    back = np.where(mistaken, np.minimum(back, other), back)
    d = np.isfinite(back)
    return np.where(d, back, end).astype(np.int64), d.astype(np.int64)
