"""Numba loops that find the times at which a hop may be in danger, from bounds of all shapes near it."""

import numpy as np

from hopyears.models.basics.kernel import bare_inlined, fetch_ahead, written_out
from hopyears.sim.rain.rain_near import INTEGRAL, RATE, SINCE, UNTIL, approach, meet, most_of_cells
from hopyears.sim.rain.shape_columns import cell_column, track_of, wide_column
from hopyears.sim.rain.shape_loops import LANES, add_bounds

BIN_S = 240.0
"""Bins of time in which bounds are compared with what is needed [s]; years hold a whole number."""

BINS = LANES
"""Bins of a stretch of time, over which they are compared before."""

_STRETCH_S = BINS * BIN_S

BOUND_MARGIN = 0.999
"""Share of what is needed that a bound must reach: it is summed in single precision."""

WEAK = 0.1
"""Share of what is needed below which a shape counts with its most for as long as it is near."""

TRIFLE = 0.01
"""The same of a cell below which it counts with the others of its group, for as long as that is near."""

_AHEAD = 6
"""Groups worked on between the moment at which the cells of one are asked for and that at which they come."""


@bare_inlined
def stretches_in_danger(hop, line, groups, near_groups, near_wide, needed, begin, changes, danger):  # type: ignore[no-untyped-def]
    """Stretches of time in which a hop may reach what is needed, if each shape near it gave its most for as
    long as its group is near.

    Parameters
    ----------
    groups : tuple
        See ``RainField.for_kernel``.
    near_groups, near_wide : tuple
        How many are near the hop, their numbers and spans (``groups_near``, ``wide_near``); the last six
        spans of groups, their path integrals, rates and tracks (``track_of``), are filled.
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
    framed, (n, numbers, spans) = groups[2], near_groups
    for k in range(n):
        fetch_ahead(framed, numbers[min(k + _AHEAD, n - 1)])
        cells, soon, late = framed[numbers[k]], spans[1, k] - spans[0, k], spans[2, k] - spans[0, k]
        track = track_of(cells, line)
        spans[3, k], spans[4, k] = most_of_cells(cells, hop, line[2:], track, soon, late)
        spans[5, k], spans[6, k], spans[7, k], spans[8, k] = track
    for n, _, spans in (near_groups, near_wide):
        for k in range(n):
            low, high = (
                max(int((spans[1, k] - begin) / _STRETCH_S), 0),
                int((spans[2, k] - begin) / _STRETCH_S),
            )
            _change(changes, low, min(high, len(danger) - 1), spans[3, k], spans[4, k])
    integral, rate = 0.0, 0.0
    for i in range(len(danger)):
        integral, rate = integral + changes[0, i], rate + changes[1, i]
        danger[i] = may_reach(integral, rate, needed)


@bare_inlined
def _change(changes, low, high, integral, rate):  # type: ignore[no-untyped-def]
    """Note what holds in some stretches or bins, the first to the last."""
    if low <= high:
        changes[0, low] += integral
        changes[1, low] += rate
        changes[0, high + 1] -= integral
        changes[1, high + 1] -= rate


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
    if (
        power < 1.0
        and integral * (1.0 + power * (rate / needed_rate - 1.0)) < BOUND_MARGIN * needed_rate * length
    ):
        return False  # a line that touches the power from above, which is cheaper
    return integral * rate**power >= BOUND_MARGIN * threshold_over_k


@bare_inlined
def bins_within(hop, line, groups, wide, near, at, n_bins, needed, sums, changes, column, met, danger):  # type: ignore[no-untyped-def]
    """Bins, of ``n_bins`` from ``at`` [s] on, in which a hop may reach what is needed; fills ``danger``.

    ``near`` as for ``columns_within``; ``sums``, ``changes`` (a bin more), ``column``, ``met`` are room.
    """
    lasting, length, half, framed = n_bins * BIN_S, hop[0], 0.5 * BIN_S, groups[2]
    little_rate = 0.1 * TRIFLE * needed[0]
    weak, trifle, little = WEAK * needed[0] * length, TRIFLE * needed[0] * length, little_rate * length
    log_level, most = np.log(little_rate), met[0]
    for b in range(n_bins + 1):
        changes[0, b], changes[1, b] = 0.0, 0.0
    for b in range(-(-n_bins // LANES) * LANES):
        sums[0, b], sums[1, b] = 0.0, 0.0
    low, high, numbers, spans = near[0]
    for k in range(low, high):
        soon, late = max(spans[1, k] - at, 0.0), min(spans[2, k] - at, lasting)
        if soon >= late:
            continue
        integral, rate = spans[3, k], spans[4, k]
        if integral >= trifle:
            since = spans[0, k] - at
            meet(most, framed[numbers[k]])
            track = spans[5, k], spans[6, k], spans[7, k], spans[8, k]
            integral, rate = approach(most, hop, line[2:], track, soon - since, late - since, log_level)
            for i in range(LANES):
                if most[INTEGRAL + i] < trifle:
                    continue
                integral += little - most[INTEGRAL + i]
                rate += little_rate - most[RATE + i]
                first, last = _bins_of(since + most[SINCE + i], since + most[UNTIL + i], n_bins)
                if most[INTEGRAL + i] < weak:
                    _change(changes, first, last, most[INTEGRAL + i], most[RATE + i])
                else:
                    cell_column(column, 0, most, i, track, 0.0, hop, line)
                    add_bounds(sums, column, 0, first, last, half - since, BIN_S, half, hop)
        first, last = _bins_of(soon, late, n_bins)
        _change(changes, first, last, max(integral, 0.0), max(rate, 0.0))
    low, high, numbers, spans = near[1]
    for k in range(low, high):
        if spans[2, k] <= at or spans[1, k] >= at + lasting:
            continue
        first, last = _bins_of(spans[1, k] - at, spans[2, k] - at, n_bins)
        if spans[3, k] < weak:
            _change(changes, first, last, spans[3, k], spans[4, k])
        else:
            wide_column(column, 0, wide, numbers[k], 0.0, hop, line)
            add_bounds(sums, column, 0, first, last, half + at - spans[0, k], BIN_S, half, hop)
    integral, rate = 0.0, 0.0
    for b in range(n_bins):
        integral, rate = integral + changes[0, b], rate + changes[1, b]
        danger[b] = may_reach(sums[0, b] + integral, sums[1, b] + rate, needed)


@written_out
def _bins_of(since, until, n_bins):  # type: ignore[no-untyped-def]
    """First and last bin of a span of time [s]."""
    return max(int(since / BIN_S), 0), min(int(until / BIN_S), n_bins - 1)
