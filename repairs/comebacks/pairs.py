"""The comeback table: one row for each fault and the fix it was mended by.

The columns and their types are said here and nowhere else. The one way in is the counts
of who was watched how long (`watch.Counts`) and a frame of what a pair is (`PAIRS`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairs.comebacks import baseline, hierarchy, limits, prior, verdict
from repairs.comebacks.averaged import averaged
from repairs.comebacks.beliefs import Figures
from repairs.comebacks.narrowed import known_of_some
from repairs.comebacks.posterior import Posterior, posterior
from repairs.comebacks.watch import Counts, Floats, Ints
from repairs.faults.declared import LASTING, STOPGAP
from shopdesk.money import rounded

PAIRS = {"fault": "str", "fix": "str", "declared": "str", "mean_redo_cost": "object"}
"""A pair, in the order of its number. `declared` is what the bench said most often at
closing, the latest where two are said equally often; money is Decimal."""

COLUMNS = {
    "fault": "str",
    "fix": "str",
    "declared": "str",
    "repairs": "int64",  # outcome fixed and handed back by the as-of day
    "judged": "int64",  # of these, watched to the horizon or come back within it
    "returned": "int64",  # came back with the same fault within the horizon
    "expected": "float64",  # would have, at the shop's own hazard
    "risk": "float64",  # pooled chance of coming back within the horizon
    "low": "float64",  # 5 % below
    "high": "float64",  # 4 % above: see ABOVE
    "alone": "float64",  # the same by this pair's repairs only: Kaplan–Meier
    "alone_low": "float64",  # beta-product limits, 5 % below
    "alone_high": "float64",  # and 5 % above
    "chance_over_limit": "float64",  # probability that the risk is above the limit
    "verdict": "str",
    "mean_redo_cost": "object",  # Decimal: what doing it again costs the shop
    "reserve": "object",  # Decimal: risk × mean redo cost, to lay by with each repair
}
"""The table, in this order on screen, on paper, in CSV and in JSON."""

TAIL = 0.05  # left outside each limit: the limits are 90 %
ABOVE = 0.04
"""Left outside the upper limit of the risk. With 5 % it would hold a stopgap that was
done one to four times some points less often than limits that know the shop's figures,
which have to be learnt here; and a limit too low is the dearer mistake. Nine times in
ten is what all hold even so: tests/benchmarks/README.md."""


@dataclass(frozen=True)
class ComebackTable:
    """The rows, and what else is known of how they were reckoned."""

    rows: pd.DataFrame
    within: int
    limit: float
    verdict_confidence: float
    hazard: float
    prior: prior.Prior
    """What each pair's own figures are drawn towards."""
    figures: Figures | None
    """What word, fault and fix say of a pair; None by the plain recipe."""
    posterior: Posterior
    counts: Counts

    @property
    def is_without_returns(self) -> bool:
        return not self.counts.returned.sum()

    @property
    def longest_watch(self) -> int:
        return self.counts.longest_watch


def comeback_table(
    counts: Counts,
    pairs: pd.DataFrame,
    *,
    limit: float,
    verdict_confidence: float,
    places: int = 2,
    is_plain: bool = False,
    among: "ComebackTable | None" = None,
) -> ComebackTable:
    """The risk of each pair within the counts' horizon, with its limits and a verdict.

    `limit` is the chance of coming back that the shop puts up with, `verdict_confidence` how
    probable a verdict must be before it is said; `places` are the currency's decimals.
    A plain table asks neither what was declared nor how the fault's other fixes and
    the fix's other faults do.
    Where the counts are only some of the shop's, `among` is the table of them all: it
    gives the baseline and what each pair is drawn towards.
    """
    if among is not None:
        hazards = baseline.cumulative_hazard(among.counts)
        expected, hazard = counts.left @ hazards, among.hazard
    else:
        hazards = baseline.cumulative_hazard(counts)
        expected = baseline.expected_returns(counts, hazards)
        hazard = float(hazards[-1]) or baseline.hazard_before_any_return(counts)
    if among is not None:
        fitted, figures = among.prior, among.figures
        known = _by_all(among, counts, expected, pairs)
    elif is_plain or not counts.returned.sum():
        fitted, figures = prior.fitted(counts.returned, expected), None
        known = posterior(fitted, returned=counts.returned, expected=expected)
    else:
        fitted, figures, known = _by_hierarchy(counts, expected, pairs)
    own = limits.alone(counts, tail=TAIL)
    over_limit = known.chance_over(limit, hazard)
    risk = known.chance(hazard)
    rows = pairs.assign(
        repairs=counts.repairs,
        judged=counts.judged,
        returned=counts.returned,
        expected=expected,
        risk=risk,
        low=known.chance_at(TAIL, hazard),
        high=known.chance_at(1.0 - (TAIL if is_plain else ABOVE), hazard),
        alone=own.chance,
        alone_low=own.low,
        alone_high=own.high,
        chance_over_limit=over_limit,
        verdict=verdict.verdicts(
            returned=counts.returned,
            over_limit=over_limit,
            alone_width=own.high - own.low,
            is_over_alone=own.chance > limit,
            verdict_confidence=verdict_confidence,
        ),
        reserve=reserves(risk, pairs["mean_redo_cost"], places=places),
    )
    return ComebackTable(
        rows=rows[list(COLUMNS)].astype(COLUMNS),
        within=counts.within,
        limit=limit,
        verdict_confidence=verdict_confidence,
        hazard=hazard,
        prior=fitted,
        figures=figures,
        posterior=known,
        counts=counts,
    )


def _by_hierarchy(
    counts: Counts, expected: Floats, pairs: pd.DataFrame
) -> tuple[prior.Prior, Figures, Posterior]:
    """The prior of the whole shop, its figures, and what is known of each pair."""
    is_stopgap = (pairs["declared"] == STOPGAP).to_numpy(dtype=bool)
    evidence = hierarchy.Evidence(
        returned=counts.returned,
        expected=expected,
        is_stopgap=is_stopgap,
        fault=np.unique(pairs["fault"].to_numpy(), return_inverse=True)[1],
        fix=np.unique(pairs["fix"].to_numpy(), return_inverse=True)[1],
    )
    figures, known = averaged(evidence)
    return figures.as_prior(stopgaps=float(is_stopgap.mean())), figures, known


def _by_all(
    among: ComebackTable, counts: Counts, expected: Floats, pairs: pd.DataFrame
) -> Posterior:
    """What is known of pairs of which only some repairs are counted."""
    names = zip(among.rows["fault"], among.rows["fix"], strict=True)
    row_of = {name: row for row, name in enumerate(names)}
    rows = [row_of[name] for name in zip(pairs["fault"], pairs["fix"], strict=True)]
    return known_of_some(
        among.posterior.of(rows),
        returned=among.counts.returned[rows],
        expected=among.rows["expected"].to_numpy()[rows],
        counted_returned=counts.returned,
        counted_expected=expected,
    )


def commonest_declared(
    pair: Ints, *, is_stopgap: Ints, many: Ints, handed_back: Ints, pairs: int
) -> list[str]:
    """What the bench said of each pair most often; the latest where it is a tie, and
    stopgap where both were said on the latest day.

    A row is so many repairs of which the same was said, the last of them handed back on
    that day.
    """
    stopgaps = np.bincount(pair, weights=is_stopgap * many, minlength=pairs)
    balance = 2 * stopgaps - np.bincount(pair, weights=many, minlength=pairs)
    last = np.zeros(pairs, dtype=np.int64)
    np.maximum.at(last, pair, 2 * handed_back + is_stopgap)
    says_stopgap = np.where(balance == 0, last % 2 == 1, balance > 0)
    return [STOPGAP if stopgap else LASTING for stopgap in says_stopgap]


def reserves(
    risk: Floats, mean_redo_cost: Iterable[Decimal], *, places: int
) -> NDArray[np.object_]:
    """What to lay by with each repair: the chance of doing it again times its cost."""
    amounts = [
        rounded(Decimal(repr(chance)) * cost, places=places)
        for chance, cost in zip(risk.tolist(), mean_redo_cost, strict=True)
    ]
    return np.array(amounts, dtype=object)


def flags(rows: pd.DataFrame) -> list[str]:
    """For each row, where it gainsays the bench's own word; empty where it does not."""
    return [
        verdict.flag(declared=declared, verdict=word)
        for declared, word in zip(rows["declared"], rows["verdict"], strict=True)
    ]


def by_what_matters(rows: pd.DataFrame) -> pd.DataFrame:
    """What comes back first, then what is better than declared, then the rest; within
    each the dearest first: risk × cost of a comeback × number of repairs.
    """
    is_back = rows["verdict"] == verdict.COMES_BACK
    rank = np.where(is_back, 0, np.where(np.array(flags(rows), dtype=bool), 1, 2))
    cost = rows["risk"] * rows["mean_redo_cost"].astype("float64") * rows["repairs"]
    keyed = rows.assign(_rank=rank, _cost=-cost)
    in_order = keyed.sort_values(["_rank", "_cost", "fault", "fix"], kind="stable")
    return in_order[list(COLUMNS)]
