"""Numba loops that find the times at which a hop may be in danger, from bounds of all shapes near it."""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_near import approach, lanes_of
from hopyears.sim.rain.shape_columns import cell_column, track_of, wide_column
from hopyears.sim.rain.shape_loops import COLUMN, LANES, add_shape

BIN_S = 240.0
"""Bins of time in which bounds are compared with what is needed [s]; years hold a whole number."""

BINS = 4
"""Bins of a stretch of time, over which they are compared before."""

BOUND_MARGIN = 0.999
"""Share of what is needed that a bound must reach: it is summed in single precision."""

WEAK = 0.1
"""Share of what is needed below which a shape counts with its most for as long as it is near."""

TRIFLE = 0.01
"""The same of a cell below which it counts with the others of its storm, for as long as that is near."""


@kernel
def candidates(hop, line, storms, wide, near_storms, near_wide, needed_rate, begin, bounds):  # type: ignore[no-untyped-def]
    """Cells that alone may give a hop more than a trifle, and bounds of all shapes in stretches of time.

    Parameters
    ----------
    storms, wide : tuple
        See ``RainField.for_kernel``.
    near_storms, near_wide : tuple
        Numbers and spans of those near the hop (``storms_near``, ``wide_near``).
    needed_rate : float
        Mean rate along the hop [mm/h] at which it may be in danger.
    begin : float
        Start [s] of the time looked at, in stretches of ``BINS`` bins.
    bounds : float64, shape (n_stretches + 1, 4)
        Filled with bounds of the path integral and the rate in each stretch: of the cells that are trifles,
        then of all shapes.

    Returns
    -------
    columns, spans : float32, shape (n, COLUMN), (n, 4); origins : float64, shape (n,)
        Of each such cell its column; since when and until when it may give more than a tenth of a trifle,
        and the most that it gives (path integral and rate); origin of its times [s], in rising order.
    """
    bounds[:] = 0.0
    columns, spans = np.empty((512, COLUMN), np.float32), np.empty((512, 4), np.float32)
    origins, n = np.empty(512), 0
    little_rate = 0.1 * TRIFLE * needed_rate
    trifle, little, log_level = TRIFLE * needed_rate * hop[0], little_rate * hop[0], np.log(little_rate)
    starts, places, _, framed, first_lane, most, _ = storms
    found = np.empty((4, most), np.float32)
    numbers, passages = near_storms
    for k in range(len(numbers)):
        storm, soon, late = numbers[k], passages[0, k], passages[1, k]
        if n + most > len(origins):
            columns, spans = np.concatenate((columns, columns)), np.concatenate((spans, spans))
            origins = np.concatenate((origins, origins))
        track, first, lanes = (
            track_of(places, storm, line),
            7 * first_lane[storm],
            lanes_of(first_lane, storm),
        )
        integral, rate = approach(framed, first, lanes, hop, line[2:], track, soon, late, log_level, found)
        since = starts[storm] - begin
        for i in range(lanes):
            if found[0, i] >= trifle:
                for row in range(4):
                    spans[n, (row + 2) % 4] = found[row, i]
                cell_column(columns, n, framed, first + i, lanes, track, 0.0, hop, line)
                origins[n] = starts[storm]
                n += 1
                _add_span(bounds, 2, since + found[2, i], since + found[3, i], found[0, i], found[1, i])
                integral += little - found[0, i]
                rate += little_rate - found[1, i]
        _add_span(bounds, 0, since + soon, since + late, max(integral, 0.0), max(rate, 0.0))
    numbers, passages = near_wide
    for k in range(len(numbers)):
        since, rate = wide[0][numbers[k]] - begin, passages[2, k]
        _add_span(bounds, 2, since + passages[0, k], since + passages[1, k], rate * hop[0], rate)
    _sum_up(bounds)
    return columns[:n], spans[:n], origins[:n]


@kernel
def _sum_up(bounds):  # type: ignore[no-untyped-def]
    """From changes to what holds; the second pair of numbers includes the first."""
    a, b, c, d = 0.0, 0.0, 0.0, 0.0
    for i in range(len(bounds)):
        a, b, c, d = a + bounds[i, 0], b + bounds[i, 1], c + bounds[i, 2], d + bounds[i, 3]
        bounds[i, 0], bounds[i, 1], bounds[i, 2], bounds[i, 3] = a, b, a + c, b + d


@written_out
def _add_span(bounds, first, since, until, integral, rate):  # type: ignore[no-untyped-def]
    """Add to two numbers what begins in the stretch of one time and ends with that of another."""
    last = len(bounds) - 1
    low, high = min(int(since / (BINS * BIN_S)), last), min(int(until / (BINS * BIN_S)) + 1, last)
    bounds[low, first] += integral
    bounds[low, first + 1] += rate
    bounds[high, first] -= integral
    bounds[high, first + 1] -= rate


@kernel
def bins_within(hop, line, storms, wide, near_wide, found, bounds, needed_rate, begin, first, n_stretches):  # type: ignore[no-untyped-def]
    """Upper bounds of the path integral of the rate and of the rate in the bins of some stretches.

    ``begin``: start of all stretches [s]; ``first``: number of the first of these ``n_stretches``;
    ``found``, ``bounds``: what ``candidates`` returned and filled. Returns the sums of ``add_shape``.
    """
    columns, spans, origins = found
    n_bins, at = BINS * n_stretches, begin + first * BINS * BIN_S
    finish, weak = at + n_bins * BIN_S, WEAK * needed_rate * hop[0]
    sums = np.zeros((3, -(-n_bins // LANES) * LANES), np.float32)
    for b in range(n_bins):
        sums[0, b], sums[2, b] = bounds[first + b // BINS, 0], bounds[first + b // BINS, 1]
    low = np.searchsorted(origins, at - storms[6])
    for c in range(low, np.searchsorted(origins, finish)):
        since = origins[c] - at
        if since + spans[c, 1] > 0.0 and since + spans[c, 0] < finish - at:
            _add_bins(sums, n_bins, columns, spans, c, since, hop, weak)
    numbers, passages = near_wide
    low = np.searchsorted(numbers, np.searchsorted(wide[0], at - wide[3]))
    high = np.searchsorted(numbers, np.searchsorted(wide[0], finish))
    column, span = np.empty((1, COLUMN), np.float32), np.empty((1, 4), np.float32)
    for k in range(low, high):
        since = wide[0][numbers[k]] - at
        if since + passages[1, k] > 0.0 and since + passages[0, k] < finish - at:
            rate = passages[2, k]
            span[0, 0], span[0, 1], span[0, 2], span[0, 3] = (
                passages[0, k],
                passages[1, k],
                rate * hop[0],
                rate,
            )
            if rate * hop[0] >= weak:
                wide_column(column, 0, wide, numbers[k], 0.0, hop, line)
            _add_bins(sums, n_bins, column, span, 0, since, hop, weak)
    return sums


@kernel
def _add_bins(sums, n_bins, columns, spans, c, since, hop, weak):  # type: ignore[no-untyped-def]
    """Add to the sums what a shape gives, at the most, in the bins of its span; its origin is ``since``."""
    low = max(int((since + spans[c, 0]) / BIN_S), 0)
    high = min(int((since + spans[c, 1]) / BIN_S), n_bins - 1)
    if spans[c, 2] < weak:
        for b in range(low, high + 1):
            sums[0, b] += spans[c, 2]
            sums[2, b] += spans[c, 3]
    else:
        half = 0.5 * BIN_S
        add_shape(sums, columns, c, low, high, half - since, BIN_S, half, 0.0, hop[0], hop[5], hop[6])
