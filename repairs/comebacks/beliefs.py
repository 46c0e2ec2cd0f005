"""What is held likely of a shop before anything is seen, and the figures it is held of.

As in `prior`, the ratio of a pair's hazard to the shop's is drawn from one of two
gammas: that of fixes which hold, or that of fixes which come back (the mixture of
DuMouchel 1999, Am. Stat. 53:177–190, here around the expectation of each pair as in
Clayton & Kaldor 1987, Biometrics 43:671–681). But the chance that a pair belongs to
those which hold is its own:

    logit = alpha − beta · [declared a stopgap] + u of its fault + v of its fix

with u ~ N(0, tau²), and v as `elsewhere` has it. So a shop whose bench knows what it
does gets a large beta, one whose word means nothing a beta of nought, and one whose
word misleads a negative one. Whichever it is, the comebacks decide.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from repairs.comebacks.prior import BY_DECLARED_AND_FAULT, Prior
from repairs.comebacks.watch import Floats

NODES, _weights = np.polynomial.hermite_e.hermegauss(7)  # of a fault's effect
LOG_WEIGHTS = np.log(_weights / _weights.sum())


@dataclass(frozen=True)
class Beliefs:
    """Of each figure (as they are fitted: the shape of the first group, its mean, the
    shape of the second, the ratio of the means, alpha, beta, tau; all but alpha and
    beta by their logs) a normal, and the bounds of it.
    """

    middle: Floats
    spread: Floats
    bounds: tuple[tuple[float, float], ...]
    starts: tuple[tuple[float, ...], ...]  # from where the likeliest figures are search
    weight: float  # how likely this whole set of beliefs is

    @classmethod
    def about(
        cls,
        *,
        shapes: tuple[tuple[float, float], tuple[float, float]],
        widest: float,
        starts: tuple[tuple[float, float], ...],
        weight: float,
    ) -> "Beliefs":
        """Fixes that hold come back at a third of the shop's rate, the others ten times
        as often; of those declared lasting most hold, of the stopgaps far fewer; the
        fixes of one fault are somewhat alike. `shapes` says how alike those of one
        group are.
        """
        middle, spread = np.array(
            [
                shapes[0],
                (-1.2, 1.2),
                shapes[1],
                (2.4, 1.0),
                (1.8, 1.0),
                (2.3, 1.3),
                (np.log(0.5), 0.7),
            ]
        ).T
        shape = (float(np.log(0.22)), widest)
        return cls(
            middle=middle,
            spread=spread,
            bounds=(shape, (-6, 3), shape, (0, 7), (-5, 5), (-4, 6), (-4, 1.5)),
            starts=tuple(
                (a1, mean, a2, ratio, alpha, 1.0, -0.7)
                for (a1, a2), (mean, ratio, alpha) in zip(starts, GROUPS, strict=True)
            ),
            weight=weight,
        )


# Log mean of the first group, log ratio to it of the second's, and the logit of the
# share that holds, to start from.
GROUPS = ((-1.2, 2.2, 1.0), (-2.5, 3.0, 0.0), (-0.4, 2.2, 2.5))

# In most shops fixes differ much even if they all hold. But where all that hold are
# alike and so are all stopgaps, it pays to know: hence the second set, which is taken
# by as much as it accounts better for what was seen.
DIFFERING = Beliefs.about(
    shapes=((np.log(1.5), 0.5), (np.log(3.0), 0.8)),
    widest=np.log(30.0),
    starts=((np.log(2.0), np.log(4.0)), (0.0, 0.0), (np.log(4.0), np.log(3.0))),
    weight=0.9,
)
ALIKE = Beliefs.about(
    shapes=((np.log(300.0), 0.7), (np.log(300.0), 0.7)),
    widest=np.log(3000.0),
    starts=((np.log(50.0), np.log(50.0)),) * 3,
    weight=0.1,
)
SETS = (DIFFERING, ALIKE)


@dataclass(frozen=True)
class Figures:
    """The figures of the model as they are meant, not as they are fitted."""

    shapes: tuple[float, float]
    means: tuple[float, float]
    alpha: float
    beta: float
    tau: float
    between_fixes: float = 0.0  # spread of v

    @classmethod
    def of(cls, x: Floats, *, between_fixes: float = 0.0) -> "Figures":
        a1, mean, a2, ratio = (float(v) for v in np.exp(x[:4]))
        alpha, beta, tau = float(x[4]), float(x[5]), float(np.exp(x[6]))
        return cls((a1, a2), (mean, mean * ratio), alpha, beta, tau, between_fixes)

    def share_that_holds(self, *, is_stopgap: bool) -> float:
        """The chance that a fix so declared belongs to those which hold."""
        spread = np.hypot(self.tau, self.between_fixes)
        logits = self.alpha - self.beta * is_stopgap + spread * NODES
        return float(expit(logits) @ np.exp(LOG_WEIGHTS))

    def as_prior(self, *, stopgaps: float) -> Prior:
        """The two groups, in a shop that declares this share of its pairs stopgaps."""
        lasting = self.share_that_holds(is_stopgap=False)
        stopgap = self.share_that_holds(is_stopgap=True)
        holds = (1.0 - stopgaps) * lasting + stopgaps * stopgap
        (a1, a2), (m1, m2) = self.shapes, self.means
        return Prior(
            shapes=(a1, a2),
            rates=(a1 / m1, a2 / m2),
            weights=(holds, 1.0 - holds),
            basis=BY_DECLARED_AND_FAULT,
        )
