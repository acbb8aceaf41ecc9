"""What weather a block happened to meet, of which the long-run mean is known better than the block's own.

The time that rain takes the carrying modulation of the hops of the working route, each by itself, has the
long-run mean that snapshots of the field give (``sim.rare.rain_expectation``), with their chance error. A
figure is regressed on it over the blocks and read off at its known mean. Multipath takes no part: P.530's law
is met to some per cent only, and fades shorter than ten seconds make no unavailable time.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.fading_tally import RAIN
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.statistics import Stratum
from hopyears.sim.counting.variance_reduction import control_variate
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.rare.rain_expectation import N_SETS, carrying_step, chances_of, rain_chances

FEWEST_BLOCKS = 10
"""Fewest blocks from which slopes are estimated."""

SLOPE_BOUNDS = (0.0, 2.0)
"""Seconds lost for each second of rain: a service loses no less to more of it, and by hysteresis and the
ten-second rule somewhat more than a second for each."""


@dataclass(frozen=True)
class RainControl:
    """Rain control of each service: which rows of the fading tally it adds up, and its mean.

    Attributes
    ----------
    rows : tuple of tuples of (hop, step)
        Of each service; empty where rain is left out or no hop carries the rate.
    mean_s, error_s : float array, shape (n_services,)
        Seconds a year in the long run and their standard error.
    """

    rows: tuple[tuple[tuple[int, int], ...], ...]
    mean_s: Floats
    error_s: Floats


def rain_control(prepared: Prepared) -> RainControl:
    """Rain control of every service of a network. Draws snapshots where the cache holds none."""
    rows = tuple(rain_rows(prepared, number) for number in range(len(prepared.demands)))
    asked = sorted({row for own in rows for row in own})
    chances = rain_chances(prepared, asked) if asked else np.zeros((0, N_SETS))
    place = {row: i for i, row in enumerate(asked)}
    # Hops share snapshots, so that their errors add up as they fall.
    sums = np.array([chances[[place[row] for row in own]].sum(axis=0) for own in rows]).reshape(-1, N_SETS)
    error = sums.std(axis=1, ddof=1) / np.sqrt(N_SETS)
    return RainControl(rows, sums.mean(axis=1) * SECONDS_PER_YEAR, error * SECONDS_PER_YEAR)


def know_rain(networks: Sequence[Prepared]) -> None:
    """Work out what ``rain_control`` of each of these will ask for, on snapshots drawn but once for all."""
    asked = [
        (prepared, *row)
        for prepared in networks
        for row in {row for number in range(len(prepared.demands)) for row in rain_rows(prepared, number)}
    ]
    chances_of(asked)


def rain_rows(prepared: Prepared, number: int) -> tuple[tuple[int, int], ...]:
    """Hops of a service's working route, each with the modulation that rain must leave it for the service.

    Of a bundle the hop that stands the most rain, where one by itself is enough; else every hop without which
    the others are too few, with what it must then carry.
    """
    if not prepared.options.rain:
        return ()
    demand = prepared.demands[number]
    rate_mbit_s = demand.needed_mbit_s
    rows = [
        row
        for hops in prepared.hops_along(demand.routes[0])
        for row in _link_rows(prepared, hops, rate_mbit_s)
    ]
    return tuple(rows)


def _link_rows(prepared: Prepared, hops: Sequence[int], rate_mbit_s: float) -> list[tuple[int, int]]:
    able = [(hop, step) for hop in hops if (step := carrying_step(prepared, hop, rate_mbit_s)) is not None]
    if able:
        return [max(able, key=lambda row: _margin_db(prepared, *row))] if len(able) > 1 else able
    clear = [prepared.designs[hop].clear_capacity_mbit_s for hop in hops]
    needed = [(hop, rate_mbit_s - (sum(clear) - own)) for hop, own in zip(hops, clear, strict=True)]
    return [
        (hop, step)
        for hop, part_mbit_s in needed
        if part_mbit_s > 0.0 and (step := carrying_step(prepared, hop, part_mbit_s)) is not None
    ]


def _margin_db(prepared: Prepared, hop: int, step: int) -> float:
    thresholds = HopThresholds(prepared.designs[hop], prepared.anchors[hop], prepared.nights[hop])
    return float(thresholds.nominal_rain_margin_db()[step])


def rain_seconds(fading: KeyedTable, rows: Sequence[tuple[int, int]]) -> float:
    """Time that rain takes the modulations of some rows (hop, step) in a block [s], one by one."""
    here = fading.key("kind") == RAIN
    hop, step, seconds = fading.key("entity")[here], fading.key("step")[here], fading.value("seconds")[here]
    return float(sum(seconds[(hop == h) & (step == s)].sum() for h, s in rows))


def controlled_stratum(
    values: Floats,
    controls: Floats,
    means: Sequence[float],
    errors: Sequence[float],
    bounds: tuple[float, float],
) -> Stratum:
    """Mean of a figure of blocks, read off where rain is what it is in the long run.

    Parameters
    ----------
    values : float array, shape (n_blocks,)
    controls : float array, shape (n_blocks, n_controls)
    means, errors : sequences of float, length n_controls
        Means of the controls and their standard errors.
    bounds : (float, float)
        Least and largest change of the figure with a control.
    """
    found = control_variate(values, controls, means, known_errors=errors, slope_bounds=bounds)
    at_means = values - (controls - np.asarray(means)) @ found.slopes
    unseen = max(float(at_means.max()) - found.interval.best, 0.0) / values.size
    return Stratum(found.interval.best, found.variance, found.freedom, unseen)
