"""Comeback rates: the one place where a comeback rate is computed.

Arrays in, arrays out, one entry per pair of a fault and a fix.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from repairs.comebacks.estimate.averaging import bayesian_model_average
from repairs.comebacks.estimate.hierarchy import PairCounts
from repairs.comebacks.estimate.hyperprior import HyperParameters
from repairs.comebacks.estimate.kaplan_meier import (
    KaplanMeierEstimate,
    cumulative_hazard,
    expected_comebacks,
    hazard_before_any_comeback,
    kaplan_meier,
)
from repairs.comebacks.estimate.posterior import (
    Posterior,
    filtered_posterior,
    posterior,
)
from repairs.comebacks.estimate.prior import DEFAULT_PRIOR, Prior
from repairs.comebacks.estimate.verdict import assign_verdicts
from repairs.comebacks.watch import Counts, Floats, Ints

TAIL_PROBABILITY = 0.05  # outside each limit: the intervals are 90 %
UPPER_TAIL_PROBABILITY = 0.04
"""Probability outside the upper limit of the risk.

With 5 % it would cover a stopgap done one to four times a few points less often than an
interval that knows the shop's parameters, which have to be estimated here; and a limit
that is too low is the more expensive mistake. The intervals still cover 90 %: see
tests/benchmarks/README.md.
"""


@dataclass(frozen=True)
class Rates:
    """The comeback rates of pairs, and the estimates behind them."""

    counts: Counts
    expected: Floats
    """Comebacks at the shop's average rate over the same follow-up."""
    shop_hazard: float
    """The shop's cumulative hazard over the period."""
    prior: Prior
    parameters: HyperParameters | None
    """Of the hierarchical model; None if there are no comebacks."""
    posterior: Posterior
    limit: float
    """The highest risk the shop accepts."""
    confidence: float
    """The probability a verdict needs."""

    @cached_property
    def risk(self) -> Floats:
        """Probability of a comeback within the period, partially pooled."""
        return self.posterior.risk(self.shop_hazard)

    @cached_property
    def low(self) -> Floats:
        return self.posterior.risk_quantile(TAIL_PROBABILITY, self.shop_hazard)

    @cached_property
    def high(self) -> Floats:
        upper = 1.0 - UPPER_TAIL_PROBABILITY
        return self.posterior.risk_quantile(upper, self.shop_hazard)

    @cached_property
    def own(self) -> KaplanMeierEstimate:
        """The same from each pair's own repairs."""
        return kaplan_meier(self.counts, tail=TAIL_PROBABILITY)

    @cached_property
    def probability_above_limit(self) -> Floats:
        return self.posterior.probability_above(self.limit, self.shop_hazard)

    @cached_property
    def verdict(self) -> NDArray[np.object_]:
        return assign_verdicts(
            comebacks=self.counts.comebacks,
            probability_above=self.probability_above_limit,
            own_width=self.own.high - self.own.low,
            is_own_risk_above=self.own.risk > self.limit,
            confidence=self.confidence,
        )


def rates(
    counts: Counts,
    *,
    is_stopgap: NDArray[np.bool_],
    fault: Ints,
    fix: Ints,
    limit: float,
    confidence: float,
) -> Rates:
    """Return the comeback rates within the counts' period.

    `fault` and `fix` number those of each pair.
    """
    hazards = cumulative_hazard(counts)
    expected = expected_comebacks(counts, hazards)
    parameters, prior = None, DEFAULT_PRIOR
    if not counts.comebacks.sum():
        pooled = posterior(prior, comebacks=counts.comebacks, expected=expected)
    else:
        pair_counts = PairCounts(
            comebacks=counts.comebacks,
            expected=expected,
            is_stopgap=is_stopgap,
            fault=fault,
            fix=fix,
        )
        parameters, pooled = bayesian_model_average(pair_counts)
        prior = parameters.as_prior(stopgap_share=float(is_stopgap.mean()))
    return Rates(
        counts=counts,
        expected=expected,
        shop_hazard=float(hazards[-1]) or hazard_before_any_comeback(counts),
        prior=prior,
        parameters=parameters,
        posterior=pooled,
        limit=limit,
        confidence=confidence,
    )


def filtered_rates(counts: Counts, *, unfiltered: Rates, rows: Ints) -> Rates:
    """Return the rates if `counts` hold only some of the shop's repairs.

    `unfiltered` are the rates of all repairs: they give the average and what each pair
    is pooled towards. `rows` are the positions of these pairs in them.
    """
    expected = np.asarray(counts.exits @ cumulative_hazard(unfiltered.counts))
    pooled = filtered_posterior(
        unfiltered.posterior.select(rows),
        comebacks=unfiltered.counts.comebacks[rows],
        expected=unfiltered.expected[rows],
        counted_comebacks=counts.comebacks,
        counted_expected=expected,
    )
    return replace(unfiltered, counts=counts, expected=expected, posterior=pooled)
