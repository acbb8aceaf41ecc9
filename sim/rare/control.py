"""Surer figures of rare outages from the same blocks: what the blocks happened to meet is put right.

A block's outage follows closely what rain and failures it happened to meet, and of both the long-run mean is
known better than the block's own:

- *Equipment.* Beside its own failures each block draws more histories of failures in the same storms, and
  asks what the service would lose to each with no fading at all. Its own loss less the mean of the others has
  the mean zero, exactly. In those histories rare parts may fail more often; their losses are then weighted by
  the likelihood of the draws (``sim.equipment.raised``), which leaves that mean as it is.
- *Storms.* Each block also draws heavier storms, and asks what the service would lose to each storm by
  itself, to its own and to the heavier ones, those weighted (``sim.rare.storm_tally``). The difference of
  the two sums has the mean zero, exactly. It knows protection: both routes in one storm.
- *Rain.* The time that rain takes the carrying modulation of the hops of the working route, each by itself,
  has the long-run mean that snapshots of the field give (``sim.rare.rain_expectation``), with their chance
  error. It is surer than the storms where single hops decide.

The block's loss to its own failures is replaced by the mean over all its histories of failures; what comes
of that is regressed on storms and rain and read off at their known means. Multipath takes no part: P.530's
law is met to some per cent only, and fades shorter than ten seconds make no unavailable time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.fading_tally import FADING, RAIN
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.statistics import Interval, mean_interval
from hopyears.sim.counting.tally_rows import BOTH, TOTAL
from hopyears.sim.counting.variance_reduction import Controlled, control_variate
from hopyears.sim.rare.rain_expectation import N_SETS, carrying_step, rain_chances
from hopyears.sim.rare.replications import TWINS
from hopyears.sim.rare.storm_tally import HEAVIER, OWN, STORMS
from hopyears.sim.storage.run_folder import RunFolder

FEWEST_BLOCKS = 10
"""Blocks from which slopes can be told."""

SLOPE_BOUNDS = (0.0, 2.0)
"""Seconds lost for each second of storms or rain: a service loses no less to more of them, and by hysteresis
and the ten-second rule somewhat more than a second for each."""

_Floats = NDArray[np.float64]


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
    mean_s: _Floats
    error_s: _Floats


def rain_control(prepared: Prepared) -> RainControl:
    """Rain control of every service of a network. Draws snapshots where the cache holds none."""
    rows = tuple(_rain_rows(prepared, number) for number in range(len(prepared.demands)))
    asked = sorted({row for own in rows for row in own})
    chances = rain_chances(prepared, asked) if asked else np.zeros((0, N_SETS))
    place = {row: i for i, row in enumerate(asked)}
    # Hops share snapshots, so that their errors add up as they fall.
    sums = np.array([chances[[place[row] for row in own]].sum(axis=0) for own in rows]).reshape(-1, N_SETS)
    error = sums.std(axis=1, ddof=1) / np.sqrt(N_SETS)
    return RainControl(rows, sums.mean(axis=1) * SECONDS_PER_YEAR, error * SECONDS_PER_YEAR)


def _rain_rows(prepared: Prepared, number: int) -> tuple[tuple[int, int], ...]:
    if not prepared.options.rain:
        return ()
    demand = prepared.demands[number]
    hops = [link for link, _ in demand.routes[0] if link < len(prepared.designs)]
    rate_mbit_s = demand.required_share * demand.committed_mbit_s
    steps = [(hop, carrying_step(prepared, hop, rate_mbit_s)) for hop in hops]
    return tuple((hop, step) for hop, step in steps if step is not None)


@dataclass(frozen=True)
class ControlBlocks:
    """What each block of a run met, all in seconds a year, shape (n_blocks, n_services).

    Attributes
    ----------
    unavailable_s : float array
        Of each service, both ways.
    equipment_s : float array
        Loss to the block's own failures alone less the mean over all its histories of failures.
    storms_s : float array
        Loss to the block's own storms, each by itself, less that to heavier ones, weighted.
    rain_s : float array
        Sum over the rows of the rain control.
    """

    unavailable_s: _Floats
    equipment_s: _Floats
    storms_s: _Floats
    rain_s: _Floats

    @classmethod
    def read(cls, prepared: Prepared, rain: RainControl, folder: RunFolder) -> "ControlBlocks":
        """From the finished blocks of a run."""
        n, twins = len(prepared.demands), prepared.options.control
        rows = []
        for block in folder.finished_blocks():
            total = KeyedTable.from_arrow(TOTAL, folder.read_table(block, "service_total"))
            fading = KeyedTable.from_arrow(FADING, folder.read_table(block, "hop_fading"))
            beside = KeyedTable.from_arrow(TWINS, folder.read_table(block, "service_twins"))
            losses = beside.spread("unavailable_s", (n, twins + 1))
            single = KeyedTable.from_arrow(STORMS, folder.read_table(block, "service_storms"))
            storms = single.spread("unavailable_s", (n, 2))
            rows.append(
                (
                    total.spread("unavailable_s", (n,), direction=BOTH),
                    losses[:, 0] - losses.mean(axis=1),
                    storms[:, OWN] - storms[:, HEAVIER],
                    [_rain_s(fading, own) for own in rain.rows],
                )
            )
        years = float(folder.manifest()["block_years"])
        return cls(*(np.array(part, dtype=np.float64) / years for part in zip(*rows, strict=True)))


def controlled(blocks: ControlBlocks, rain: RainControl, number: int) -> Controlled | None:
    """Unavailable seconds a year of a service, put right; None with too few blocks or nothing known."""
    if len(blocks.unavailable_s) < FEWEST_BLOCKS:
        return None
    values = blocks.unavailable_s[:, number] - blocks.equipment_s[:, number]
    found = control_variate(
        values,
        np.column_stack([blocks.storms_s[:, number], blocks.rain_s[:, number]]),
        [0.0, rain.mean_s[number]],
        known_errors=[0.0, rain.error_s[number]],
        slope_bounds=SLOPE_BOUNDS,
    )
    plain = float(blocks.unavailable_s[:, number].var(ddof=1))
    if plain == 0.0 or (np.array_equal(values, blocks.unavailable_s[:, number]) and not found.slopes.any()):
        return None
    ratio = found.variance_ratio * plain / float(values.var(ddof=1))
    return replace(found, variance_ratio=ratio)


def _rain_s(fading: KeyedTable, rows: Sequence[tuple[int, int]]) -> float:
    here = fading.key("kind") == RAIN
    hop, step, seconds = fading.key("entity")[here], fading.key("step")[here], fading.value("seconds")[here]
    return float(sum(seconds[(hop == h) & (step == s)].sum() for h, s in rows))


def control_table(prepared: Prepared, folder: RunFolder) -> pd.DataFrame:
    """Unavailable minutes a year of each service, plain and put right; empty unless the run has a control.

    Columns: service; ``unavailable_min_per_year`` and ``unavailable_min_per_year_controlled``, each with
    ``_low`` and ``_high`` (95 %); ``saving``, how many times more blocks the plain figure takes to be as
    sure; ``rain_known_min_per_year`` and ``rain_known_standard_error``, the mean that the rain control rests
    on. Services whose outage cannot be put right are left out.
    """
    rows: list[dict[str, object]] = []
    if prepared.options.control:
        rain = rain_control(prepared)
        blocks = ControlBlocks.read(prepared, rain, folder)
        for number, demand in enumerate(prepared.demands):
            found = controlled(blocks, rain, number)
            if found is not None:
                rows.append(_row(demand.id, blocks.unavailable_s[:, number], found, rain, number))
    return pd.DataFrame(rows, columns=[*COLUMNS])


COLUMNS = (
    "service",
    *(f"unavailable_min_per_year{end}" for end in ("", "_low", "_high")),
    *(f"unavailable_min_per_year_controlled{end}" for end in ("", "_low", "_high")),
    "saving",
    "rain_known_min_per_year",
    "rain_known_standard_error",
)


def _row(
    service: str, unavailable_s: _Floats, found: Controlled, rain: RainControl, number: int
) -> dict[str, object]:
    row: dict[str, object] = {"service": service}
    put_interval(row, "unavailable_min_per_year", mean_interval(unavailable_s).scaled(1.0 / 60.0))
    limits = found.interval.scaled(1.0 / 60.0)
    kept = Interval(max(limits.low, 0.0), max(limits.best, 0.0), limits.high, limits.level)
    put_interval(row, "unavailable_min_per_year_controlled", kept)
    row["saving"] = found.variance_ratio
    row["rain_known_min_per_year"] = float(rain.mean_s[number]) / 60.0
    row["rain_known_standard_error"] = float(rain.error_s[number]) / 60.0
    return row
