"""Numba loops that find the times at which a hop may be in danger, from bounds of all shapes near it."""

import numpy as np

from hopyears.models.basics.kernel import fetch_ahead, kernel, written_out
from hopyears.sim.rain.rain_near import approach, most_of_cells
from hopyears.sim.rain.shape_columns import cell_column, track_of, wide_column
from hopyears.sim.rain.shape_loops import COLUMN, LANES, add_bounds

BIN_S = 240.0
"""Bins of time in which bounds are compared with what is needed [s]; years hold a whole number."""

BINS = LANES
"""Bins of a stretch of time, over which they are compared before."""

BOUND_MARGIN = 0.999
"""Share of what is needed that a bound must reach: it is summed in single precision."""

WEAK = 0.1
"""Share of what is needed below which a shape counts with its most for as long as it is near."""

TRIFLE = 0.01
"""The same of a cell below which it counts with the others of its group, for as long as that is near."""

_AHEAD = 6
"""Groups worked on between the moment at which the cells of one are asked for and that at which they come."""


@kernel
def stretches_in_danger(hop, line, groups, wide, near_groups, near_wide, needed, begin, changes, danger):  # type: ignore[no-untyped-def]
    """Stretches of time in which a hop may reach what is needed, if each shape near it gave its most for as
    long as its group is near.

    Parameters
    ----------
    groups, wide : tuple
        See ``RainField.for_kernel``.
    near_groups, near_wide : tuple
        Numbers and spans of those near the hop (``groups_near``, ``wide_near``).
    needed : tuple
        See ``may_reach``.
    begin : float
        Start [s] of the first stretch; each has ``BINS`` bins.
    changes : float64, shape (2, n_stretches + 1)
        Room for what begins and ends in each.
    danger : bool, shape (n_stretches,)
        Filled.
    """
    changes[:] = 0.0
    starts, _, framed, _ = groups
    numbers, passages = near_groups
    for k in range(len(numbers)):
        fetch_ahead(framed, numbers[min(k + _AHEAD, len(numbers) - 1)])
        group, soon, late = numbers[k], passages[0, k], passages[1, k]
        most = most_of_cells(framed[group], hop, line[2:], track_of(framed[group, 7], line), soon, late)
        since = starts[group] - begin
        low, high = _stretches_of(since + soon, since + late, len(danger))
        _change(changes, low, high, most[0], most[1])
    numbers, passages = near_wide
    for k in range(len(numbers)):
        since, rate = wide[0][numbers[k]] - begin, passages[2, k]
        low, high = _stretches_of(since + passages[0, k], since + passages[1, k], len(danger))
        _change(changes, low, high, rate * hop[0], rate)
    integral, rate = 0.0, 0.0
    for i in range(len(danger)):
        integral, rate = integral + changes[0, i], rate + changes[1, i]
        danger[i] = may_reach(integral, rate, needed)


@written_out
def _change(changes, low, high, integral, rate):  # type: ignore[no-untyped-def]
    """Note what holds in some stretches or bins, the first to the last."""
    if low <= high:
        changes[0, low] += integral
        changes[1, low] += rate
        changes[0, high + 1] -= integral
        changes[1, high + 1] -= rate


@written_out
def _stretches_of(since, until, n):  # type: ignore[no-untyped-def]
    """First and last stretch of a span of time [s]."""
    return max(int(since / (BINS * BIN_S)), 0), min(int(until / (BINS * BIN_S)), n - 1)


@written_out
def may_reach(integral, rate, needed):  # type: ignore[no-untyped-def]
    """Whether an attenuation may reach its threshold, given bounds of the path integral and of the rate.

    For alpha up to 1, A <= k L^(1 - alpha) I^alpha (the power is concave); above, A <= k I R^(alpha - 1), R
    being the greatest rate. Both hold for the closed form too: no own mean rate is below the path mean or
    above the greatest rate.
    """
    needed_rate, threshold_over_k, power, length = needed
    if power <= 0.0:
        return integral >= BOUND_MARGIN * needed_rate * length
    if rate < BOUND_MARGIN * needed_rate:
        return False
    return integral * rate**power >= BOUND_MARGIN * threshold_over_k


@kernel
def bins_within(hop, line, groups, wide, near_groups, near_wide, at, n_bins, needed_rate, found):  # type: ignore[no-untyped-def]
    """Upper bounds of the path integral of the rate and of the rate in ``n_bins`` bins from ``at`` [s] on.

    ``found`` is room for the cells of one group (``approach``). Returns the sums of ``add_bounds``.
    """
    sums, column = np.zeros((2, -(-n_bins // LANES) * LANES), np.float32), np.empty((1, COLUMN), np.float32)
    changes, lasting, length, half = np.zeros((2, n_bins + 1)), n_bins * BIN_S, hop[0], 0.5 * BIN_S
    little_rate = 0.1 * TRIFLE * needed_rate
    weak, trifle, little = WEAK * needed_rate * length, TRIFLE * needed_rate * length, little_rate * length
    log_level = np.log(little_rate)
    starts, _, framed, _ = groups
    numbers, passages = near_groups
    for k in range(len(numbers)):
        group = numbers[k]
        since = starts[group] - at
        soon, late = max(passages[0, k], -since), min(passages[1, k], lasting - since)
        if soon >= late:
            continue
        track, cells = track_of(framed[group, 7], line), framed[group]
        integral, rate = most_of_cells(cells, hop, line[2:], track, soon, late)
        if integral >= trifle:
            approach(cells, hop, line[2:], track, soon, late, log_level, found)
            for i in range(LANES):
                if found[0, i] < trifle:
                    continue
                integral += little - found[0, i]
                rate += little_rate - found[1, i]
                low, high = _bins_of(since + found[2, i], since + found[3, i], n_bins)
                if found[0, i] < weak:
                    _change(changes, low, high, found[0, i], found[1, i])
                else:
                    cell_column(column, 0, cells, i, track, 0.0, hop, line)
                    add_bounds(sums, column, 0, low, high, half - since, BIN_S, half, hop)
        low, high = _bins_of(since + soon, since + late, n_bins)
        _change(changes, low, high, max(integral, 0.0), max(rate, 0.0))
    numbers, passages = near_wide
    for k in range(len(numbers)):
        since, rate = wide[0][numbers[k]] - at, passages[2, k]
        if since + passages[1, k] <= 0.0 or since + passages[0, k] >= lasting:
            continue
        low, high = _bins_of(since + passages[0, k], since + passages[1, k], n_bins)
        if rate * length < weak:
            _change(changes, low, high, rate * length, rate)
        else:
            wide_column(column, 0, wide, numbers[k], 0.0, hop, line)
            add_bounds(sums, column, 0, low, high, half - since, BIN_S, half, hop)
    integral, rate = 0.0, 0.0
    for b in range(n_bins):
        integral, rate = integral + changes[0, b], rate + changes[1, b]
        sums[0, b] += integral
        sums[1, b] += rate
    return sums


@written_out
def _bins_of(since, until, n_bins):  # type: ignore[no-untyped-def]
    """First and last bin of a span of time [s]."""
    return max(int(since / BIN_S), 0), min(int(until / BIN_S), n_bins - 1)
