"""From the textbook sum to the simulated outage of a service, step by step: what the sum leaves out.

Each step is a difference of two figures that are both computed, so that the steps add up to the whole:
the textbook sum; the hops of the working route each by itself, simulated; the working route as a whole; all
routes of the service; the service among the others.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.blocks.series_tally import ALONE, HOPS, ROUTE, SERIES
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import Interval, difference_interval
from hopyears.sim.counting.tally_rows import BOTH, TOTAL, three_ways
from hopyears.sim.rare.service_figures import UNAVAILABLE, ServiceFigures
from hopyears.sim.runs.block_pool import Workers, over_blocks
from hopyears.sim.runs.rerun import OpenedRun
from hopyears.sim.runs.results import SIMULATED, TEXTBOOK, WAITING
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.textbook.common_parts import links_unavailability
from hopyears.sim.textbook.predict import predict_services

STEPS = (
    TEXTBOOK,
    "rain and fades of the hops, each by itself",
    "equipment of the hops, each by itself",
    "storms and nights shared by hops",
    "sites and failures shared by hops",
    "other routes",
    "capacity shared with other services",
    "failures of replications in place of the blocks'",
    SIMULATED,
)
"""The first and the last are figures, those between are differences that lead from one to the other:

- rain and fades: the ten-second rule, both directions at once, adaptive modulation, anchoring, joint fading
  of diversity branches;
- equipment: repair queues, spares, storms that hold climbers, lightning, switches that fail, standbys that
  fail unseen, line cards; sites' common parts are counted with each hop that ends there, here and in the
  textbook;
- shared: hops that are down at the same time count once (a hop faded and another broken: as failures);
- other routes: what protecting and rerouting save, less what switching costs;
- capacity shared: hops that are up or in part up, but not enough for all who cross them;
- replications: from what the blocks happened to meet to the run's best figure
  (``sim.rare.service_figures``), a matter of chance."""


def distance_table(
    prepared: Prepared,
    folder: RunFolder,
    textbook: pd.DataFrame | None = None,
    figures: ServiceFigures | None = None,
) -> pd.DataFrame:
    """Rows ``STEPS`` of each service: minutes a year with 95 % intervals from independent blocks.

    Columns: service, step, min_per_year (with ``_low`` and ``_high``; the textbook sum has no chance in it).
    ``textbook`` is what ``predict_services`` gave and ``figures`` those of the run, where they are at hand.
    """
    figures = ServiceFigures.read(prepared, folder) if figures is None else figures
    years = int(folder.manifest()["block_years"])
    n = len(prepared.demands)
    textbook = predict_services(prepared) if textbook is None else textbook
    by_block = [_block_minutes(folder, block, n, years) for block in folder.finished_blocks()]
    rows: list[dict[str, object]] = []
    ends = _Ends(prepared)
    for number, demand in enumerate(prepared.demands):
        predicted = textbook.iloc[number]
        total = float(predicted["total_min_per_year"])
        fading = float(predicted["rain_min_per_year"] + predicted["multipath_min_per_year"])
        equipment = float(predicted["equipment_min_per_year"]) + ends.minutes(number)
        hops, route, alone, service = (np.array([part[i][number] for part in by_block]) for i in range(4))
        steps = (
            hops[:, 0] - fading,
            hops[:, 1] - equipment,
            route[:, 0] - hops[:, 0],
            route[:, 1] - hops[:, 1] + equipment - (total - fading),
            (alone - route).sum(axis=1),
            service - alone.sum(axis=1),
        )
        known = [Interval(total, total, total), *map(_step, steps)]
        best = figures.interval(number, UNAVAILABLE).scaled(1.0 / 60.0)
        chance = best.best - float(service.mean())
        intervals = [*known, Interval(chance, chance, chance), best]
        for step, interval in zip(STEPS, intervals, strict=True):
            rows.append(_row(demand.id, step, interval))
    return table_of("textbook_distance", rows)


def _row(service: str, step: str, interval: Interval) -> dict[str, object]:
    row: dict[str, object] = {"service": service, "step": step}
    put_interval(row, "min_per_year", interval)
    return row


def _step(minutes: Floats) -> Interval:
    """Mean of a step over blocks; what lies below a millionth of a minute is rounding."""
    return difference_interval(np.round(minutes, 6))


class _Ends:
    """Common parts and power of both ends of links, worked out once for each link and rate."""

    def __init__(self, prepared: Prepared) -> None:
        self._prepared = prepared
        self._known: dict[tuple[tuple[int, ...], float], list[float]] = {}

    def minutes(self, number: int) -> float:
        """Of every link of a service's working route, link by link [min a year]."""
        demand = self._prepared.demands[number]
        rate_mbit_s = demand.needed_mbit_s
        links = self._prepared.hops_along(demand.routes[0])
        return sum(
            of_week
            * sum(each for link in links for each in self._of(link, share * rate_mbit_s))
            * MINUTES_PER_YEAR
            for share, of_week in demand.levels()
        )

    def _of(self, link: tuple[int, ...], rate_mbit_s: float) -> list[float]:
        if (link, rate_mbit_s) not in self._known:
            self._known[link, rate_mbit_s] = [
                links_unavailability(self._prepared, site, [link], rate_mbit_s)
                for site in self._prepared.built.hops[link[0]].sites
            ]
        return self._known[link, rate_mbit_s]


def _block_minutes(
    folder: RunFolder, block: int, n: int, years: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Minutes a year of every service: hops, route, all routes (by fading, with equipment); its own."""
    series = KeyedTable.from_arrow(SERIES, folder.read_table(block, "service_series"))
    scale = 60.0 * years
    hops, route, alone = (
        series.spread("unavailable_s", (n, 2), part=part) / scale for part in (HOPS, ROUTE, ALONE)
    )
    return hops, route, alone, unavailable_of_services(folder, block, n) / scale


def unavailable_of_services(folder: RunFolder, block: int, n: int) -> Floats:
    """Unavailable seconds of every service in a block, both ways."""
    total = KeyedTable.from_arrow(TOTAL, folder.read_table(block, "service_total"))
    return total.spread("unavailable_s", (n,), direction=BOTH)


class QueueStudy:
    """Blocks of a run simulated again on the same draws, with nobody waiting for a crew or a spare."""

    def __init__(self, prepared: Prepared, seed: int, block_years: int) -> None:
        free = replace(prepared, options=replace(prepared.options, queues=False))
        self._simulator, self._seed, self._years = BlockSimulator(free), seed, block_years

    def block(self, number: int) -> Floats:
        """Unavailable seconds of every service in a block."""
        history = self._simulator.simulate(self._seed, number, self._years)
        lost = [three_ways(service, history.duration_s)[BOTH].unavailable_s for service in history.services]
        return np.array(lost, dtype=np.float64)


def queue_table(
    opened: OpenedRun,
    *,
    n_blocks: int,
    workers: Workers = 1,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> pd.DataFrame:
    """Row ``WAITING`` of each service, from the first blocks of a run; columns as ``distance_table``."""
    prepared, folder = opened.prepared, opened.folder
    blocks: Sequence[int] = folder.finished_blocks()[:n_blocks]
    n = len(prepared.demands)
    free = over_blocks(
        QueueStudy, (prepared, opened.seed, opened.block_years), blocks, workers=workers, progress=progress
    )
    waited = np.array([unavailable_of_services(folder, block, n) for block in blocks]) - np.array(free)
    minutes = waited / 60.0 / opened.block_years
    rows = [
        _row(demand.id, WAITING, difference_interval(minutes[:, number]))
        for number, demand in enumerate(prepared.demands)
    ]
    return table_of("textbook_distance", rows)
