"""Shares of time that a hop's fades take, for checks against published laws."""

import numpy as np
from slow_nights import drawn_hours

from hopyears.models.air import fade_shape
from hopyears.models.basics.calendar import MONTH_SECONDS, month_of
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.multipath.fade_kernel import Thresholds, change_points
from hopyears.sim.multipath.fades import DISPERSIVE, FLAT, FLAT_WORST_MONTH, draw_fades
from hopyears.sim.multipath.nights import NightPlaces, draw_activity
from hopyears.sim.streams import Streams


def night_places(east_km, names=None):
    """Places of hops on the equator, so far east of Greenwich, each of a name of its own unless given."""
    names = names or tuple(f"hop {i}" for i in range(len(east_km)))
    return NightPlaces(tuple(names), (0.0,) * len(east_km), tuple(km / 111.19 for km in east_km))


def touched(start_s, end_s, slot_start_s, slot_s):
    """Whether any of these disjoint, increasing times touches slots of this length, wherever they lie."""
    first = np.minimum(np.searchsorted(end_s, slot_start_s, side="right"), len(end_s) - 1)
    return (start_s[first] < slot_start_s + slot_s) & (end_s[first] > slot_start_s)


def assert_agrees(samples, expected, *, standard_errors=4.0, bias=0.0, label=""):
    """Mean of independent samples (first axis) against an expected value: the one checker for all laws."""
    samples = np.asarray(samples, dtype=float)
    mean = samples.mean(axis=0)
    error = samples.std(axis=0, ddof=1) / np.sqrt(len(samples))
    allowed = standard_errors * error + bias * np.abs(expected)
    assert np.all(np.abs(mean - expected) <= allowed), f"{label}: {mean / expected} +- {error / expected}"


def activity_shares(law, depth_db, *, n_blocks, seed, n_years=10):
    """Share of the worst month and of the year below each depth, by year: shape (2, n_years, n_depths).

    The mean over fades given the activity, so that only nights are left to chance.
    """
    places = night_places([0.0])
    raw = law.depth_map.raw_threshold(depth_db)
    worst, year = [], []
    for block in range(n_blocks):
        (activity,) = drawn_hours(Streams(seed, block), places, [law], n_years)
        covered = -np.expm1(-activity.occurrence[:, None] * raw[activity.worst_month.astype(int)]) * 3600.0
        of_year = (activity.start_s // SECONDS_PER_YEAR).astype(int)
        chosen = activity.worst_month
        month = np.zeros(n_years, dtype=int)
        month[of_year[chosen]] = month_of(activity.start_s[chosen])
        for y in range(n_years):
            worst.append(covered[chosen & (of_year == y)].sum(axis=0) / MONTH_SECONDS[month[y]])
            year.append(covered[of_year == y].sum(axis=0) / SECONDS_PER_YEAR)
    return np.array([worst, year])


def fade_shares(law, lines, usable, depth_db, dispersive, *, path_length_km, n_blocks, seed, n_years=10):
    """Share of time lost by channels at flat depths and dispersive levels, by block, from fades and kernel.

    Returns the worst month's flat, the year's flat, the year's dispersive and the year's total shares, each
    of shape (n_blocks, n_channels, n). Depths fall and dispersive levels rise.
    """
    usable = np.array(usable, dtype=bool)
    raw = law.depth_map.raw_threshold(depth_db)
    shape = (3, *usable.shape, len(depth_db))
    tables = np.zeros((4, *shape))
    tables[0, FLAT_WORST_MONTH] = raw[1]
    tables[1, FLAT], tables[1, FLAT_WORST_MONTH] = raw
    tables[2, DISPERSIVE] = dispersive
    tables[3] = tables[1] + tables[2]
    span = n_years * SECONDS_PER_YEAR
    lengths = [span / 12.0, span, span, span]
    places = night_places([0.0])
    shares = np.zeros((4, n_blocks, len(usable), len(depth_db)))
    for block in range(n_blocks):
        streams = Streams(seed, block)
        (activity,) = draw_activity(streams, places, [law], n_years)
        fades = draw_fades(
            streams,
            "hop",
            activity,
            lines,
            duration_s=float(fade_shape.mean_duration_s(path_length_km)),
            flat_top=float(raw.max()),
            dispersive_top=float(np.max(dispersive)),
        )
        for table, values in enumerate(tables):
            thresholds = Thresholds(usable, values, values, np.zeros(len(depth_db)))
            points = change_points(fades, thresholds, 0.0, span)
            shares[table, block] = _lost_share(points, usable.shape[0], len(depth_db), span, lengths[table])
    return shares


def _lost_share(points, n_channels, n_modulations, span, length):
    lost = np.zeros((n_channels, n_modulations))
    for channel in range(n_channels):
        own = points.channel == channel
        lasting = np.diff(np.append(points.time_s[own], span))
        for m in range(n_modulations):
            lost[channel, m] = lasting[points.level[own] <= m].sum() / length
    return lost
