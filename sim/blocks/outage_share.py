"""Whose jobs were among the causes of service outages: seconds by kind of part, by site and by crew.

A *job* is a failure that stops traffic, from the moment it happens until it is mended (so waiting for a crew
counts as the crew's), a site without power, or planned work that stops a site. It is among the causes of an
unavailable second of a service when that second carries the job's cause, and a hop or line card of the
service's routes was kept below its full capacity by that cause while the job lasted. Several jobs at once
each count in full, so shares may add up to more than the whole; rain and fading belong to nobody.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.intervals import merged
from hopyears.models.judging.cause import EQUIPMENT, Cause
from hopyears.models.judging.outage_loops import UNAVAILABLE
from hopyears.sim.blocks.block import BlockHistory
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.tally_rows import BOTH, Ways
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.hops.hop_history import HopHistory

JOBS = int(EQUIPMENT | Cause.POWER | Cause.MAINTENANCE)
"""Causes that are somebody's job."""

NOBODY = -1


@dataclass(frozen=True)
class OutageShare:
    """Unavailable seconds of services with a job of each row among their causes, summed over services.

    Parameters
    ----------
    kind_s, site_s, crew_s : float arrays, shapes (n_kinds,), (n_sites,), (n_crews,)
        Both directions together [s].
    """

    kind_s: Floats
    site_s: Floats
    crew_s: Floats


@dataclass(frozen=True)
class _Jobs:
    """Jobs as columns: cause flag, begin and end [s], kind of part, site and crew (-1 for none)."""

    flag: Ints
    start_s: Floats
    end_s: Floats
    kind: Ints
    site: Ints
    crew: Ints

    def __getitem__(self, chosen: Ints) -> "_Jobs":
        return _Jobs(*(column[chosen] for column in vars(self).values()))

    def within(self, start_s: Floats, end_s: Floats, causes: Ints) -> "_Jobs":
        """What of each job falls in sorted, disjoint stretches that carry its cause."""
        first = np.searchsorted(end_s, self.start_s, side="right")
        count = np.maximum(np.searchsorted(start_s, self.end_s, side="left") - first, 0)
        job = np.repeat(np.arange(len(first)), count)
        stretch = np.arange(len(job)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
        fits = (causes[stretch] & self.flag[job]) != 0
        job, stretch = job[fits], stretch[fits]
        part = self[job]
        start = np.maximum(part.start_s, start_s[stretch])
        end = np.minimum(part.end_s, end_s[stretch])
        return _Jobs(part.flag, start, end, part.kind, part.site, part.crew)


def outage_share(prepared: Prepared, history: BlockHistory, lost: Sequence[Ways]) -> OutageShare:
    """Whose jobs were among the causes of the services' outages in one block.

    Parameters
    ----------
    prepared : Prepared
    history : BlockHistory
    lost : sequence
        Lost seconds of each service, by ``tally_rows.three_ways``.
    """
    plant = prepared.built.plant
    sizes = (len(plant.kind_names), len(plant.sites), len(plant.crew_base))
    sums = [np.zeros(size) for size in sizes]
    if history.log is None:
        return OutageShare(*sums)
    touched = _Touched(prepared, history, history.log)
    for demand, ways in zip(prepared.demands, lost, strict=True):
        seconds = ways[BOTH]
        out = (seconds.kind == UNAVAILABLE) & ((seconds.causes & JOBS) != 0)
        if not out.any():
            continue
        links = {link for route in demand.routes for link, _ in route}
        jobs = touched.jobs_on(sorted(member for link in links for member in prepared.links[link]))
        start_s, end_s = seconds.start_s[out].astype(np.float64), seconds.end_s[out].astype(np.float64)
        # A second belongs to a job that touched any of it.
        whole = _Jobs(jobs.flag, np.floor(jobs.start_s), np.ceil(jobs.end_s), jobs.kind, jobs.site, jobs.crew)
        shares = whole.within(start_s, end_s, seconds.causes[out])
        for total, row in zip(sums, (shares.kind, shares.site, shares.crew), strict=True):
            known = row >= 0
            total += merged(
                row[known], shares.start_s[known], shares.end_s[known], n_rows=len(total)
            ).total_s()
    return OutageShare(*sums)


class _Touched:
    """Jobs while they kept a hop or a line card below its full capacity, found once for each."""

    def __init__(self, prepared: Prepared, history: BlockHistory, log: FailureLog) -> None:
        self._prepared, self._history, self._log = prepared, history, log
        self._jobs, self._known = _all_jobs(prepared, log), dict[int, _Jobs]()
        failures = log.failures
        self._rows_of_part: dict[int, list[int]] = {}
        for row in np.flatnonzero(failures.affecting).tolist():
            self._rows_of_part.setdefault(int(failures.part[row]), []).append(row)
        self._rows_of_site: dict[int, list[int]] = {}
        # Rectifiers stop a site as the mains do: by its power.
        supply = prepared.built.plant.supply_parts
        whole_site = np.append(
            np.flatnonzero(supply[failures.part] & failures.affecting),
            np.arange(len(failures), len(self._jobs.flag)),
        )
        for row in whole_site.tolist():
            self._rows_of_site.setdefault(int(self._jobs.site[row]), []).append(row)

    def jobs_on(self, members: Iterable[int]) -> _Jobs:
        """Jobs on any of these hops (numbers below the number of hops) and line cards."""
        found = [self._on(member) for member in members]
        return _Jobs(
            *(np.concatenate(column) for column in zip(*(vars(each).values() for each in found), strict=True))
        )

    def _on(self, member: int) -> _Jobs:
        if member not in self._known:
            hops = self._history.hops
            if member < len(hops):
                dependence = self._prepared.built.hops[member]
                parts = (*dependence.own, *(part.part for part in dependence.outside))
                rows = [row for part in parts for row in self._rows_of_part.get(part, ())]
                rows += [row for site in dependence.sites for row in self._rows_of_site.get(site, ())]
                jobs = self._jobs[np.array(sorted(set(rows)), dtype=np.int64)]
                self._known[member] = (
                    jobs.within(*_short(hops[member], self._log.duration_s)) if rows else jobs
                )
            else:
                part = self._prepared.line_cards[member - len(hops)]
                self._known[member] = self._jobs[np.array(self._rows_of_part.get(part, []), dtype=np.int64)]
        return self._known[member]


def _short(hop: HopHistory, duration_s: float) -> tuple[Floats, Floats, Ints]:
    """Stretches in which somebody's job keeps a hop below its full capacity: begin, end [s], causes."""
    at = np.flatnonzero((hop.causes & JOBS != 0)[hop.state])
    end_s = np.append(hop.time_s[1:], duration_s)[at]
    return hop.time_s[at], np.minimum(end_s, duration_s), hop.causes[hop.state[at]]


def _all_jobs(prepared: Prepared, log: FailureLog) -> _Jobs:
    """Failures in the order of the log, then sites without power, then planned outages."""
    plant, failures, visits = prepared.built.plant, log.failures, log.visits
    dark, planned = log.sites.power_down, log.sites.maintenance
    nobody = [np.full(len(each), NOBODY) for each in (dark.start_s, planned.start_s, visits.site)]
    return _Jobs(
        flag=np.concatenate(
            [
                plant.part_cause[failures.part],
                np.full(len(dark.start_s), int(Cause.POWER)),
                np.full(len(planned.start_s) + len(visits.site), int(Cause.MAINTENANCE)),
            ]
        ),
        start_s=np.concatenate([failures.failed_s, dark.start_s, planned.start_s, visits.start_s]),
        end_s=np.concatenate([failures.mended_s, dark.end_s, planned.end_s, visits.down_until_s]),
        kind=np.concatenate([plant.part_kind[failures.part], *nobody]),
        site=np.concatenate([failures.site, dark.row, planned.row, visits.site]),
        crew=np.concatenate([failures.crew, nobody[0], nobody[1], visits.crew]),
    )
