"""Does the advice pay? Simulated shops that follow it, that do not, and an oracle.

    python -m tests.benchmarks.advice_pays [--reps N] [--only NAME …]

Each fault has several fixes with their own comeback risk, price and cost. A shop
without advice chooses as it is used to, by habit. One that follows the advice reads
the table at the end of each month, and each fault with a recommendation to offer
another fix is repaired with that one, if the product says that it brings more profit.
The oracle knows the true risks and always takes the fix with the highest profit. All
three shops get the same jobs, and each draws comebacks with the same random numbers.
"""

import argparse
import time
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pandas as pd

from repairs.comebacks.advice import ActionKind, recommend
from repairs.comebacks.comeback_table import ComebackTable, comeback_table
from repairs.comebacks.watch import count_exits
from tests.benchmarks.machine import described
from tests.benchmarks.shops import RELIABLE, STOPGAP, WITHIN

MONTHS, DAYS = 24, 30
BEFORE = 12  # months of history, with the habit, before the advice is first read
LIMIT, CONFIDENCE = 0.1, 0.9
SEED = 11
NEVER, FOLLOW, ORACLE = "never", "follows", "oracle"
PRICE, WIDTH = 60.0, 30.0  # price of a fix, and how much prices differ


@dataclass(frozen=True)
class Scenario:
    name: str
    faults: int = 60
    jobs: int = 150  # a month
    stopgaps: float = 0.3  # share of fixes that are true stopgaps
    cheaper: float = 0.7  # price of a stopgap by that of the others
    told: float = 0.6  # stopgaps recorded as such; of the others a tenth
    others_told: float = 0.1
    habit: float = 0.8  # jobs done with the usual fix, the others by chance
    elsewhere: float = 0.0  # comebacks that nobody here sees, but cost nothing here
    wrong: float = 0.0  # comebacks assessed as another fault; their cost stays
    worsens: bool = False  # the reliable fixes turn bad after a year


SCENARIOS = (
    Scenario("usual shop"),
    Scenario("small shop", faults=20, jobs=30),
    Scenario("large shop", faults=200, jobs=800),
    Scenario("few stopgaps", stopgaps=0.05),
    Scenario("no stopgaps", stopgaps=0.0),
    Scenario("stopgaps earn more", cheaper=1.4),
    Scenario("declarations mislead", told=0.1, others_told=0.3),
    Scenario("habit rules", habit=0.97),
    Scenario("30 % went elsewhere", elsewhere=0.3),
    Scenario("20 % of decisions wrong", wrong=0.2),
    Scenario("good fixes turn bad", worsens=True),
)
BY_NAME = {scenario.name: scenario for scenario in SCENARIOS}


@dataclass(frozen=True)
class Book:
    """The fault book of a simulated shop, a row per pair, and the truth."""

    fault: np.ndarray
    is_told_stopgap: np.ndarray
    risk: np.ndarray
    risk_later: np.ndarray
    margin: np.ndarray  # price less cost, without comebacks
    cost: np.ndarray  # of doing it again


def book(scenario: Scenario, rng: np.random.Generator) -> Book:
    """Two to four fixes for each fault."""
    fault = np.repeat(
        np.arange(scenario.faults), rng.integers(2, 5, size=scenario.faults)
    )
    n = len(fault)
    is_stopgap = rng.random(n) < scenario.stopgaps
    risk = np.where(is_stopgap, rng.beta(*STOPGAP, n), rng.beta(*RELIABLE, n))
    later = risk
    if scenario.worsens:
        turns = ~is_stopgap & (rng.random(n) < 0.3)
        later = np.where(turns, rng.beta(*STOPGAP, n), risk)
    price = PRICE + WIDTH * rng.random(scenario.faults)[fault]
    price = price * np.where(is_stopgap, scenario.cheaper, rng.uniform(0.9, 1.1, n))
    told = np.where(is_stopgap, scenario.told, scenario.others_told)
    return Book(
        fault=fault,
        is_told_stopgap=rng.random(n) < told,
        risk=risk,
        risk_later=later,
        margin=0.4 * price,
        cost=0.6 * price,
    )


class Shop:
    """One shop's repairs: pair, day, whether and when each came back."""

    def __init__(self, scenario: Scenario, of: Book) -> None:
        self.scenario, self.book = scenario, of
        self.pair = np.empty(0, dtype=np.int64)
        self.day = np.empty(0, dtype=np.int64)
        self.seen = np.empty(0)  # day of the comeback as known to the shop
        self.profit: list[float] = []
        self.comebacks: list[float] = []

    def month(self, n: int, pair, day, chance, when, known) -> None:
        """Do the jobs of a month; `chance` and `when` are the luck of each."""
        of = self.book
        risk = (of.risk_later if n >= BEFORE + 12 else of.risk)[pair]
        # What goes elsewhere costs this shop nothing.
        left = known < self.scenario.elsewhere
        is_back = (chance < risk) & ~left
        is_seen = is_back & (known < 1.0 - self.scenario.wrong)
        back = np.where(is_seen, day + np.ceil(when * WITHIN), np.inf)
        self.pair = np.concatenate([self.pair, pair])
        self.day = np.concatenate([self.day, day])
        self.seen = np.concatenate([self.seen, back])
        expected = risk * (1.0 - self.scenario.elsewhere)
        self.profit.append(float((of.margin[pair] - expected * of.cost[pair]).sum()))
        self.comebacks.append(float(expected.sum()))

    def table(self, today: int) -> tuple[ComebackTable, np.ndarray]:
        """Return the product's table on that day, and the pair of each of its rows."""
        of = self.book
        end = np.minimum(today - self.day, WITHIN)
        is_event = (self.seen <= today) & (self.seen - self.day <= end)
        days = np.where(is_event, self.seen - self.day, end).astype(np.int64)
        done, number = np.unique(self.pair, return_inverse=True)
        counts = count_exits(
            number, days=days, is_event=is_event.astype(np.int64),
            pairs=len(done), within=WITHIN,
        )  # fmt: skip
        pairs = pd.DataFrame(
            {
                "fault_id": of.fault[done],
                "fix_id": done,
                "fault_name": "",
                "fix_name": "",
                "fault": [f"F{n}" for n in of.fault[done]],
                "fix": [f"X{n}" for n in done],
                "fix_type": np.where(of.is_told_stopgap[done], "stopgap", "lasting"),
                "mean_rework_cost": [Decimal(f"{c:.2f}") for c in of.cost[done]],
            }
        )
        return comeback_table(counts, pairs, limit=LIMIT, confidence=CONFIDENCE), done


def advised(shop: Shop, today: int) -> dict[int, int]:
    """Return the fix to offer instead, by the product's own advice.

    A shop follows it where the profit that the product shows is higher with it.
    """
    table, _ = shop.table(today)
    change = {}
    for one in recommend(table.rows, rates=table.rates):
        if one.kind is ActionKind.OTHER_FIX and one.other:
            old, new = one.row.fix_id, one.other.fix_id
            margin, cost = shop.book.margin, shop.book.cost
            gain = margin[new] - one.other.risk * cost[new]
            if gain > margin[old] - one.row.risk * cost[old]:
                change[old] = new
    return change


def run(scenario: Scenario, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return expected profit and comebacks of each month after the first advice.

    Expectations of the jobs actually done, so that only the choices differ. The row
    `harm` is what the replacements that were wrong lost in that month.
    """
    of = book(scenario, rng)
    shops = {name: Shop(scenario, of) for name in (NEVER, FOLLOW, ORACLE)}
    weight = rng.permutation(1.0 / np.arange(1, scenario.faults + 1))
    weight /= weight.sum()
    starts = np.searchsorted(of.fault, np.arange(scenario.faults))
    sizes = np.bincount(of.fault)
    usual = starts + rng.integers(0, sizes)
    change: dict[int, int] = {}
    harm = []
    for n in range(BEFORE + MONTHS):
        jobs = rng.poisson(scenario.jobs)
        fault = rng.choice(scenario.faults, jobs, p=weight)
        other = starts[fault] + rng.integers(0, sizes[fault])
        habit = np.where(rng.random(jobs) < scenario.habit, usual[fault], other)
        day = n * DAYS + rng.integers(0, DAYS, jobs)
        luck = rng.random((3, jobs))
        later = n >= BEFORE + 12
        risk = (of.risk_later if later else of.risk) * (1.0 - scenario.elsewhere)
        profit = of.margin - risk * of.cost
        best = np.array(
            [
                s + int(np.argmax(profit[s : s + k]))
                for s, k in zip(starts, sizes, strict=True)
            ]
        )
        followed = np.array([_follow(one, change) for one in habit.tolist()], int)
        lost = profit[habit] - profit[followed]
        if n >= BEFORE:
            harm.append(float(lost[lost > 0].sum()))
        has_advice = n >= BEFORE
        shops[NEVER].month(n, habit, day, *luck)
        shops[FOLLOW].month(n, followed, day, *luck)
        shops[ORACLE].month(n, best[fault] if has_advice else habit, day, *luck)
        if n >= BEFORE - 1:
            change = advised(shops[FOLLOW], (n + 1) * DAYS)
    result = {"harm": np.array(harm)}
    for name, one in shops.items():
        result[name] = np.array(one.profit[BEFORE:])
        result[f"{name} comebacks"] = np.array(one.comebacks[BEFORE:])
    return result


def _follow(pair: int, change: dict[int, int]) -> int:
    """Return the fix offered in the end; advice about the new fix counts too."""
    for _ in range(4):
        if pair not in change:
            break
        pair = change[pair]
    return pair


@dataclass(frozen=True)
class Figure:
    """A mean over shops, and its Monte Carlo standard error."""

    value: float
    error: float


def mean(values: np.ndarray) -> Figure:
    return Figure(float(values.mean()), float(values.std(ddof=1) / len(values) ** 0.5))


def ratio(above: np.ndarray, below: np.ndarray) -> Figure:
    """Return one sum by the other; the error is by the jackknife over shops."""
    if not below.sum():
        return Figure(float("nan"), float("nan"))
    n = len(above)
    left = (above.sum() - above) / (below.sum() - below)
    error = ((n - 1) / n * ((left - left.mean()) ** 2).sum()) ** 0.5
    return Figure(float(above.sum() / below.sum()), float(error))


@dataclass(frozen=True)
class Result:
    """Many shops of one scenario: a row each, a column a month after first advice."""

    scenario: Scenario
    runs: dict[str, np.ndarray]

    def share(self, months: slice) -> Figure:
        """Return the share of the oracle's gain that following the advice brings."""
        gains = [
            (self.runs[name] - self.runs[NEVER])[:, months].sum(axis=1)
            for name in (FOLLOW, ORACLE)
        ]
        return ratio(*gains)

    def gain(self) -> Figure:
        """Return the money that the advice brings a month, over both years."""
        return mean((self.runs[FOLLOW] - self.runs[NEVER]).mean(axis=1))

    def harm(self) -> Figure:
        return mean(self.runs["harm"].mean(axis=1))

    def saved(self, name: str = FOLLOW) -> Figure:
        """Return the comebacks saved a month, over both years."""
        back = self.runs[f"{NEVER} comebacks"] - self.runs[f"{name} comebacks"]
        return mean(back.mean(axis=1))


def study(reps: int, *, only: tuple[str, ...] = ()) -> list[Result]:
    results = []
    for n, scenario in enumerate(SCENARIOS):
        if only and scenario.name not in only:
            continue
        shops = [
            run(scenario, np.random.default_rng([SEED, n, rep])) for rep in range(reps)
        ]
        runs = {name: np.array([one[name] for one in shops]) for name in shops[0]}
        results.append(Result(scenario, runs))
    return results


def row(result: Result) -> str:
    first, second = result.share(slice(0, 12)), result.share(slice(12, 24))
    figures = [
        *(f"{100 * f.value:.0f}±{100 * f.error:.0f}" for f in (first, second)),
        *(f"{f.value:.1f}±{f.error:.1f}" for f in (result.gain(), result.harm())),
        *(
            f"{f.value:.2f}±{f.error:.2f}"
            for f in (result.saved(), result.saved(ORACLE))
        ),
    ]
    return f"| {result.scenario.name} | {' | '.join(figures)} |"


HEAD = (
    "| scenario | share of the oracle's gain, %: months 1–12 | months 13–24 | money"
    " gained a month | harm a month | comebacks saved a month | by the oracle |\n"
    "| --- | ---: | ---: | ---: | ---: | ---: | ---: |"
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--reps", type=int, default=40, help="shops of each scenario")
    parser.add_argument("--only", nargs="*", default=(), help="scenarios by name")
    asked = parser.parse_args()
    began = time.monotonic()
    print(described("numpy", "scipy"))
    print(f"{asked.reps} shops a scenario, seed {SEED}\n\n{HEAD}")
    results = []
    for scenario in SCENARIOS:
        if not asked.only or scenario.name in asked.only:
            results += study(asked.reps, only=(scenario.name,))
            print(row(results[-1]), flush=True)
    low = [r for r in results if not r.share(slice(12, 24)).value >= 0.7]
    worse = [r for r in results if r.gain().value < 0]
    missed = _missed(low, results)
    print(f"\n- At least 70 % of the oracle's gain after 12 months: {missed}")
    print(f"- No scenario worse than doing nothing: {_missed(worse, results)}")
    print(f"\n{time.monotonic() - began:.0f} s")


def _missed(missed: list[Result], results: list[Result]) -> str:
    if not missed:
        return f"met in all {len(results)}"
    names = ", ".join(one.scenario.name for one in missed)
    return f"**not met** in {len(missed)} of {len(results)}: {names}"


if __name__ == "__main__":
    main()
