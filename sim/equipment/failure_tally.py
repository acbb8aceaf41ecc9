"""What failed in a block and where the time went, by part kind, by site and by crew."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.intervals import Intervals
from hopyears.models.equipment.plant import Plant
from hopyears.sim.equipment.failure_log import PHASES, FailureLog

KIND_COUNTS = ("failures", "latent", "struck")
SITE_COUNTS = ("failures", "dark", "dark_s", "mains_lost", "mains_lost_s", "maintenance_s")
CREW_COUNTS = ("visits", "planned", "planned_s")


class Counts(NamedTuple):
    """Counts of some rows, by the name of their column, and their times.

    Parameters
    ----------
    columns : dict of arrays, shape (n_rows,)
        Counts, or times [s] where the name ends so.
    phases_s : float array, shape (n_rows, 6)
        Time in each of ``failure_log.PHASES`` [s].
    """

    columns: dict[str, NDArray[np.generic]]
    phases_s: Floats


class FailureTally(NamedTuple):
    """Summary of one block's failures.

    Parameters
    ----------
    kinds : Counts
        Failures that began in the block; those unseen at first; those by lightning.
    sites : Counts
        Failures; times and number of times without power, without mains; planned outage.
    crews : Counts
        Repairs that each crew attended, and their times; planned visits, and time away for them with travel.
    """

    kinds: Counts
    sites: Counts
    crews: Counts


def failure_tally(log: FailureLog | None, plant: Plant) -> FailureTally:
    """Tally of one block; all zero where nothing fails (no log)."""
    n_kinds, n_sites, n_crews = len(plant.kind_names), len(plant.sites), len(plant.crew_base)
    if log is None:
        sizes = ((n_kinds, KIND_COUNTS), (n_sites, SITE_COUNTS), (n_crews, CREW_COUNTS))
        return FailureTally(*(_nothing(n_rows, names) for n_rows, names in sizes))
    failures, sites, visits = log.failures, log.sites, log.visits
    kind, fresh, phases_s = plant.part_kind[failures.part], failures.failed_s >= 0.0, log.phases_s()
    lightning = (failures.cause & ~plant.part_cause[failures.part]) != 0
    of_kind = [_count(kind[rows], n_kinds) for rows in (fresh, fresh & failures.latent, fresh & lightning)]
    of_site = [
        _count(failures.site[fresh], n_sites),
        *(_times(sites.power_down), sites.power_down.total_s()),
        *(_times(sites.mains_lost), sites.mains_lost.total_s()),
        sites.maintenance.total_s(),
    ]
    sent = failures.crew >= 0
    begun = (visits.start_s >= 0.0) & (visits.start_s < log.duration_s)
    away_s = np.diff(np.clip([visits.left_s, visits.home_s], 0.0, log.duration_s), axis=0)[0]
    of_crew = [
        _count(failures.crew[sent], n_crews),
        _count(visits.crew[begun], n_crews),
        np.bincount(visits.crew, away_s, minlength=n_crews).astype(np.float64),
    ]
    return FailureTally(
        _counts(KIND_COUNTS, of_kind, kind, phases_s, n_kinds),
        _counts(SITE_COUNTS, of_site, failures.site, phases_s, n_sites),
        _counts(CREW_COUNTS, of_crew, failures.crew[sent], phases_s[sent], n_crews),
    )


def crew_names(plant: Plant) -> tuple[str, ...]:
    """Name of each crew: its base and its number there, from 1."""
    return tuple(f"{base.id} {i + 1}" for base in plant.crews for i in range(base.number))


def _nothing(n_rows: int, names: tuple[str, ...]) -> Counts:
    return Counts({name: np.zeros(n_rows) for name in names}, np.zeros((n_rows, len(PHASES))))


def _count(row: Ints, n_rows: int) -> Ints:
    return np.bincount(row, minlength=n_rows)


def _counts(
    names: tuple[str, ...], columns: list[NDArray[Any]], row: Ints, phases_s: Floats, n_rows: int
) -> Counts:
    total = np.zeros((n_rows, len(PHASES)))
    np.add.at(total, row, phases_s)
    return Counts(dict(zip(names, columns, strict=True)), total)


def _times(intervals: Intervals) -> Ints:
    return np.diff(intervals.offset)
