"""The parameters of the hierarchical model and their prior.

As in `prior`, the ratio of a pair's hazard to the shop's comes from one of two gammas:
that of reliable fixes, or that of fixes which come back (the mixture of DuMouchel 1999,
Am. Stat. 53:177–190, here around the expected number of each pair as in Clayton &
Kaldor 1987, Biometrics 43:671–681). But each pair has its own probability of belonging
to the reliable ones:

    logit = alpha − beta · [recorded as a stopgap] + u of its fault + v of its fix

with u ~ N(0, tau²), and v as in `hierarchy`. If a shop's recorded types are right, beta
is large; if they mean nothing, it is 0; if they mislead, it is negative. In each case
the comebacks decide.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from repairs.comebacks.estimate.prior import BY_TYPE_AND_FAULT, Prior
from repairs.comebacks.watch import Floats

# Gauss–Hermite nodes and log weights of the effect of a fault.
NODES, _weights = np.polynomial.hermite_e.hermegauss(7)
LOG_WEIGHTS = np.log(_weights / _weights.sum())


@dataclass(frozen=True)
class Hyperprior:
    """A normal for each of the seven parameters, with bounds for the fit.

    In the order of the fit: log shape of the first group, log of its mean, log shape of
    the second, log ratio of the means, alpha, beta, log tau.
    """

    mean: Floats
    sd: Floats
    bounds: tuple[tuple[float, float], ...]
    starts: tuple[tuple[float, ...], ...]  # of the fit
    weight: float  # prior probability of this hyperprior

    @classmethod
    def about(
        cls,
        *,
        shapes: tuple[tuple[float, float], tuple[float, float]],
        max_log_shape: float,
        starts: tuple[tuple[float, float], ...],
        weight: float,
    ) -> "Hyperprior":
        """Return a hyperprior that differs from others in the shapes only.

        Reliable fixes come back at a third of the shop's rate, the others ten times as
        often; most lasting fixes are reliable, far fewer stopgaps; the fixes of one
        fault are somewhat alike. `shapes` says how alike the fixes of a group are.
        """
        mean, sd = np.array(
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
        shape = (float(np.log(0.22)), max_log_shape)
        return cls(
            mean=mean,
            sd=sd,
            bounds=(shape, (-6, 3), shape, (0, 7), (-5, 5), (-4, 6), (-4, 1.5)),
            starts=tuple(
                (a1, mean, a2, ratio, alpha, 1.0, -0.7)
                for (a1, a2), (mean, ratio, alpha) in zip(starts, GROUPS, strict=True)
            ),
            weight=weight,
        )


# Start values: log mean of the first group, log ratio of the second's to it, and logit
# of the share of reliable fixes.
GROUPS = ((-1.2, 2.2, 1.0), (-2.5, 3.0, 0.0), (-0.4, 2.2, 2.5))

# In most shops fixes differ much, reliable ones too. If the fixes of each group are
# alike, estimates can be more precise: the second hyperprior is weighted by how well it
# explains the data.
DIFFERENT = Hyperprior.about(
    shapes=((np.log(1.5), 0.5), (np.log(3.0), 0.8)),
    max_log_shape=np.log(30.0),
    starts=((np.log(2.0), np.log(4.0)), (0.0, 0.0), (np.log(4.0), np.log(3.0))),
    weight=0.9,
)
ALIKE = Hyperprior.about(
    shapes=((np.log(300.0), 0.7), (np.log(300.0), 0.7)),
    max_log_shape=np.log(3000.0),
    starts=((np.log(50.0), np.log(50.0)),) * 3,
    weight=0.1,
)
HYPERPRIORS = (DIFFERENT, ALIKE)


@dataclass(frozen=True)
class HyperParameters:
    """The parameters of the model on their natural scales."""

    shapes: tuple[float, float]
    means: tuple[float, float]
    alpha: float
    beta: float
    tau: float
    fix_sd: float = 0.0  # standard deviation of v

    @classmethod
    def of(cls, x: Floats, *, fix_sd: float = 0.0) -> "HyperParameters":
        a1, mean, a2, ratio = (float(v) for v in np.exp(x[:4]))
        alpha, beta, tau = float(x[4]), float(x[5]), float(np.exp(x[6]))
        return cls((a1, a2), (mean, mean * ratio), alpha, beta, tau, fix_sd)

    def reliable_share(self, *, is_stopgap: bool) -> float:
        """Return the probability that a fix of this recorded type is reliable."""
        sd = np.hypot(self.tau, self.fix_sd)
        logits = self.alpha - self.beta * is_stopgap + sd * NODES
        return float(expit(logits) @ np.exp(LOG_WEIGHTS))

    def as_prior(self, *, stopgap_share: float) -> Prior:
        """Return the prior of a shop with this share of stopgaps among its pairs."""
        lasting = self.reliable_share(is_stopgap=False)
        stopgap = self.reliable_share(is_stopgap=True)
        reliable = (1.0 - stopgap_share) * lasting + stopgap_share * stopgap
        (a1, a2), (m1, m2) = self.shapes, self.means
        return Prior(
            shapes=(a1, a2),
            rates=(a1 / m1, a2 / m2),
            weights=(reliable, 1.0 - reliable),
            basis=BY_TYPE_AND_FAULT,
        )
