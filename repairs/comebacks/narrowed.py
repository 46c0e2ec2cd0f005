"""What is known of pairs of which only some repairs are counted.

All repairs of the shop gave each pair its gammas. The pair's own repairs are taken out
of them again, which leaves what it was drawn towards; then those that count are put in.
Where all count, all is as it was.
"""

import numpy as np
from scipy.special import gammaln, logsumexp

from repairs.comebacks.posterior import Posterior
from repairs.comebacks.watch import Floats, Ints

LEAST_SHAPE, LEAST_RATE = 0.22, 0.05  # a gamma with less is hardly one


def known_of_some(
    known: Posterior,
    *,
    returned: Ints,
    expected: Floats,
    counted_returned: Ints,
    counted_expected: Floats,
) -> Posterior:
    """`known` of all repairs, as it would be had only the counted ones been made.

    `returned` and `expected` are of all repairs of each pair.
    """
    o, e = _column(returned), _column(expected)
    some_o, some_e = _column(counted_returned), _column(counted_expected)
    # A gamma that stands for several may hold a little less than the pair's own data.
    a = np.maximum(known.shapes - o, LEAST_SHAPE)
    b = np.maximum(known.rates - e, LEAST_RATE)
    logs = (
        np.log(np.maximum(known.weights, 1e-300))
        + _foretold(a, b, some_o, some_e)
        - _foretold(a, b, o, e)
    )
    weights = np.exp(logs - logsumexp(logs, axis=1, keepdims=True))
    # Exactly as it was where nothing is left out.
    is_whole = (o == some_o) & np.isclose(e, some_e, rtol=1e-12, atol=0.0)
    return Posterior(
        shapes=np.where(is_whole, known.shapes, a + some_o),
        rates=np.where(is_whole, known.rates, b + some_e),
        weights=np.where(is_whole, known.weights, weights),
    )


def _column(values: Ints | Floats) -> Floats:
    return np.asarray(values, dtype=np.float64)[:, None]


def _foretold(a: Floats, b: Floats, returned: Floats, expected: Floats) -> Floats:
    """Log chance of these comebacks under each gamma, but for what all share."""
    logs = gammaln(a + returned) - gammaln(a) + a * np.log(b)
    return np.asarray(logs - (a + returned) * np.log(b + expected))
