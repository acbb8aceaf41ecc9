"""What failed and where the time went, by part kind, site and crew: counts and times that add."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.intervals import Intervals
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.plant import Plant
from hopyears.sim.equipment.failure_log import PHASES, FailureLog

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class FailureTally:
    """Additive summary of failure logs of one plant; the zero is ``FailureTally.zero(plant)``.

    Parameters
    ----------
    kinds, sites, crews : tuples of str
        Names of the rows; tallies of other names refuse to add. Crews are named base, number.
    years : float
        Time simulated.
    kind_failures, kind_latent, kind_struck : int arrays, shape (n_kinds,)
        Failures that began in the block; those unseen at first; those by lightning.
    kind_phases_s, site_phases_s, crew_phases_s : float arrays, shape (n, 6)
        Time in each of ``failure_log.PHASES`` [s]; the rows of crews hold what the crew attended.
    site_failures, crew_visits, crew_planned : int arrays
        Failures at each site; repairs that each crew attended; planned visits of each crew.
    crew_planned_s : float array, shape (n_crews,)
        Time away for planned work, travel included [s].
    site_dark_s, site_dark, site_mains_lost_s, site_mains_lost, site_maintenance_s : arrays, shape (n_sites,)
        Time [s] and number of times without power; without mains; planned outage [s].
    switchovers : int
        Changes of a transmitter, of any group.
    """

    kinds: tuple[str, ...]
    sites: tuple[str, ...]
    crews: tuple[str, ...]
    years: float
    kind_failures: Ints
    kind_latent: Ints
    kind_struck: Ints
    kind_phases_s: Floats
    site_failures: Ints
    site_phases_s: Floats
    crew_visits: Ints
    crew_phases_s: Floats
    crew_planned: Ints
    crew_planned_s: Floats
    site_dark_s: Floats
    site_dark: Ints
    site_mains_lost_s: Floats
    site_mains_lost: Ints
    site_maintenance_s: Floats
    switchovers: int

    def __post_init__(self) -> None:
        for value in vars(self).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    def __add__(self, other: "FailureTally") -> "FailureTally":
        names = ("kinds", "sites", "crews")
        for name in names:
            if getattr(self, name) != getattr(other, name):
                raise ValueError(f"{name} differ between the tallies; must be those of one plant")
        kept = {name: getattr(self, name) for name in names}
        summed = {
            each.name: getattr(self, each.name) + getattr(other, each.name)
            for each in fields(self)
            if each.name not in names
        }
        return FailureTally(**kept, **summed)

    @classmethod
    def zero(cls, plant: Plant) -> "FailureTally":
        """Tally of no time at all."""
        kinds, sites, crews = plant.kind_names, tuple(site.id for site in plant.sites), crew_names(plant)
        counts = {
            name: np.zeros(len(rows), np.int64)
            for rows, names in (
                (kinds, ("kind_failures", "kind_latent", "kind_struck")),
                (sites, ("site_failures", "site_dark", "site_mains_lost")),
                (crews, ("crew_visits", "crew_planned")),
            )
            for name in names
        }
        return cls(
            kinds,
            sites,
            crews,
            years=0.0,
            kind_phases_s=np.zeros((len(kinds), len(PHASES))),
            site_phases_s=np.zeros((len(sites), len(PHASES))),
            crew_phases_s=np.zeros((len(crews), len(PHASES))),
            crew_planned_s=np.zeros(len(crews)),
            site_dark_s=np.zeros(len(sites)),
            site_mains_lost_s=np.zeros(len(sites)),
            site_maintenance_s=np.zeros(len(sites)),
            switchovers=0,
            **counts,
        )

    @classmethod
    def of(cls, log: FailureLog, plant: Plant) -> "FailureTally":
        """Tally of one block."""
        kind = plant.part_kind[log.part]
        fresh = log.failed_s >= 0.0
        phases_s = log.phases_s()
        n_kinds, n_sites, n_crews = len(plant.kind_names), len(plant.sites), len(plant.crew_base)
        sent = log.crew >= 0
        visits = log.visits
        begun = (visits.start_s >= 0.0) & (visits.start_s < log.duration_s)
        away_s = np.diff(np.clip([visits.left_s, visits.home_s], 0.0, log.duration_s), axis=0)[0]
        lightning = (log.cause & ~plant.part_cause[log.part]) != 0
        return cls(
            plant.kind_names,
            tuple(site.id for site in plant.sites),
            crew_names(plant),
            years=log.duration_s / SECONDS_PER_YEAR,
            kind_failures=np.bincount(kind[fresh], minlength=n_kinds),
            kind_latent=np.bincount(kind[fresh & log.latent], minlength=n_kinds),
            kind_struck=np.bincount(kind[fresh & lightning], minlength=n_kinds),
            kind_phases_s=_rows_s(kind, phases_s, n_kinds),
            site_failures=np.bincount(log.site[fresh], minlength=n_sites),
            site_phases_s=_rows_s(log.site, phases_s, n_sites),
            crew_visits=np.bincount(log.crew[sent], minlength=n_crews),
            crew_phases_s=_rows_s(log.crew[sent], phases_s[sent], n_crews),
            crew_planned=np.bincount(visits.crew[begun], minlength=n_crews),
            crew_planned_s=np.bincount(visits.crew, away_s, minlength=n_crews).astype(np.float64),
            site_dark_s=log.power_down.total_s(),
            site_dark=_counts(log.power_down),
            site_mains_lost_s=log.mains_lost.total_s(),
            site_mains_lost=_counts(log.mains_lost),
            site_maintenance_s=log.maintenance.total_s(),
            switchovers=int(np.count_nonzero(log.switch_chain >= 0)),
        )


def crew_names(plant: Plant) -> tuple[str, ...]:
    """Name of each crew: its base and its number there, from 1."""
    return tuple(f"{base.id} {i + 1}" for base in plant.crews for i in range(base.number))


def _rows_s(row: Ints, phases_s: Floats, n_rows: int) -> Floats:
    total = np.zeros((n_rows, phases_s.shape[1]))
    np.add.at(total, row, phases_s)
    return total


def _counts(intervals: Intervals) -> Ints:
    return np.diff(intervals.offset)
