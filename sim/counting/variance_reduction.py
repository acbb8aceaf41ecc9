"""Fewer years for the same certainty: control variates with known means."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from hopyears.models.basics.arrays import Floats
from hopyears.sim.counting.statistics import LEVEL, Interval


@dataclass(frozen=True)
class Controlled:
    """Estimate by control variates.

    Attributes
    ----------
    interval : Interval
        Mean and its limits.
    slopes : float array, shape (n_controls,)
        Change of the figure with each control.
    variance, freedom : float
        Variance of the estimate, and degrees of freedom that it is known with.
    """

    interval: Interval
    slopes: Floats
    variance: float
    freedom: float


def control_variate(
    values: ArrayLike,
    controls: ArrayLike,
    known_means: ArrayLike,
    *,
    known_errors: ArrayLike = 0.0,
    slope_bounds: tuple[float, float] = (-np.inf, np.inf),
    level: float = LEVEL,
) -> Controlled:
    """Mean of a figure, corrected by what controls of known mean happened to be.

    The figure is regressed on the controls over the blocks and read off at their known means.

    Parameters
    ----------
    values : float array, shape (n_blocks,)
        The figure of each block.
    controls : float array, shape (n_blocks, n_controls) or (n_blocks,)
        Figures of the same blocks whose true means are known.
    known_means : float array, shape (n_controls,) or a number
        True means of the controls: an error here goes into the result times the slope.
    known_errors : float array, shape (n_controls,) or a number
        Standard errors of those means, independent of each other and of the blocks, at least 0, for
        instance from a longer run of something simpler; 0 where they are exact. They widen the interval.
    slope_bounds : (float, float)
        Least and largest slope, where it is known what the figure can change with a control: few blocks
        then cannot make up a slope that carries more chance in than it takes out.
    level : float
        Confidence.

    Raises
    ------
    ValueError
        If there are fewer than n_controls + 3 blocks, an error is negative, or the shapes differ.

    Notes
    -----
    Exact for jointly normal blocks; otherwise the bias is of the order of 1/n_blocks, because the
    slopes come from the same blocks. A control that never varied takes no part.

    References
    ----------
    S. S. Lavenberg and P. D. Welch, A perspective on the use of control variables to increase the
    efficiency of Monte Carlo simulations, Management Science 27 (1981) 322-335.
    """
    figure = np.asarray(values, dtype=np.float64)
    control = np.asarray(controls, dtype=np.float64).reshape(figure.size, -1)
    means = np.atleast_1d(np.asarray(known_means, dtype=np.float64))
    n, k = control.shape
    if means.shape != (k,):
        raise ValueError(f"known_means has shape {means.shape}; must be ({k},) as the controls")
    errors = np.broadcast_to(np.asarray(known_errors, dtype=np.float64), (k,))
    if not np.all(errors >= 0.0):
        raise ValueError(f"known_errors is {errors.min()}; must be at least 0")
    if n < k + 3:
        raise ValueError(f"values has {n} blocks; must have at least {k + 3} with {k} controls")
    away = control - means
    varies = control.std(axis=0) > 1e-12 * np.maximum(np.abs(control).max(axis=0), 1e-300)
    design = np.column_stack([np.ones(n), away[:, varies]])
    low, high = (
        np.append(unbounded, np.full(varies.sum(), bound))
        for unbounded, bound in zip((-np.inf, np.inf), slope_bounds, strict=True)
    )
    from scipy.optimize import lsq_linear  # takes a quarter of a second, and most runs want no slopes

    fit = lsq_linear(design, figure, (low, high), method="bvls").x
    freedom = n - design.shape[1]
    residual = figure - design @ fit
    slopes = np.zeros(k)
    slopes[varies] = fit[1:]
    variance = float(residual @ residual) / freedom * float(np.linalg.pinv(design.T @ design)[0, 0])
    variance += float(((slopes * errors) ** 2).sum())
    half = float(stdtrit(freedom, 0.5 + level / 2.0) * np.sqrt(variance))
    best = float(fit[0])
    interval = Interval(best - half, best, best + half, level)
    return Controlled(interval, slopes, variance, float(freedom))
