"""The p-chart: which months return more, or less, than chance lets a month do.

Limits are three standard errors around the mean of all complete months, each for its
own number of repairs (NIST/SEMATECH e-Handbook 6.3.3.2).
"""

from dataclasses import dataclass

import numpy as np

from repairs.comebacks.watch import Floats, Ints

ERRORS = 3.0


@dataclass(frozen=True)
class PChart:
    centre: float
    share: Floats
    low: Floats
    high: Floats


def p_chart(returned: Ints, *, of: Ints) -> PChart:
    """Shares with their limits; a share can't be below nought or above one."""
    centre = float(returned.sum() / max(int(of.sum()), 1))
    error = ERRORS * np.sqrt(centre * (1.0 - centre) / np.maximum(of, 1))
    return PChart(
        centre=centre,
        share=returned / np.maximum(of, 1),
        low=np.maximum(centre - error, 0.0),
        high=np.minimum(centre + error, 1.0),
    )
