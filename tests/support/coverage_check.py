"""How often intervals hold the truth: one checker for every kind of interval."""

import numpy as np


def coverage(make_interval, draw, truth, *, n_trials=2000, seed=1):
    """Share of trials whose interval holds the truth."""
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(n_trials):
        interval = make_interval(draw(rng))
        held += interval.low <= truth <= interval.high
    return held / n_trials


def too_low(share, level, *, n_trials=2000, slack=0.0):
    """Whether a coverage is below its level less a stated slack, by more than 4 standard errors."""
    wanted = level - slack
    return share < wanted - 4.0 * np.sqrt(wanted * (1.0 - wanted) / n_trials)


def too_high(share, level, *, n_trials=2000):
    """Whether a coverage is above its level by more than 4 standard errors."""
    return share > level + 4.0 * np.sqrt(level * (1.0 - level) / n_trials)


def compound_poisson(rng, n_units, events_per_unit, mean=1.0, sigma=1.0):
    """Totals of units with a Poisson number of lognormal amounts each (outages and their durations)."""
    counts = rng.poisson(events_per_unit, n_units)
    return np.array([rng.lognormal(np.log(mean) - sigma**2 / 2, sigma, n).sum() for n in counts])
