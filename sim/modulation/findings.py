"""What a study of modulation finds in one block: plain figures that can be stored and read again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.intervals import merged
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tally_rows import UNDELIVERED, seconds_between, three_ways, traffic_rows
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.busy_hours import Stretches, where
from hopyears.sim.services.service_data import ServiceDemand, ServiceHistory

ADAPTIVE = 0
"""In place of a number of states: the hop as it is."""

HOP, SERVICE, WEATHER, BUSY = 0, 1, 2, 3
"""Kinds of case: hop or bundle, service, hop whose equipment is always in order, hop in its busy hours."""


Spent = tuple[Ints, Floats]
"""Names, rising, and the time or megabits of each (first axis)."""


@dataclass(frozen=True)
class Finding:
    """What a hop or service got in one block.

    Attributes
    ----------
    unavailable_s, severely_errored_s : float
        Both ways together, by the ten-second rule.
    mean_mbit_s : float
        Mean capacity or rate, of both directions.
    rate_mbit_s, seconds : float array, shape (n,)
        Time at each rate of the worse direction, rates rising.
    steps : float
        Changes of a hop's capacity, either direction, in the block.
    """

    unavailable_s: float
    severely_errored_s: float
    mean_mbit_s: float
    rate_mbit_s: Floats
    seconds: Floats
    steps: float = 0.0


Findings = dict[tuple[int, int], Finding]
"""By number of the hop or service, and states of the fixed modulation, or ``ADAPTIVE``."""


@dataclass(frozen=True)
class BlockFindings:
    """Findings of one block.

    Attributes
    ----------
    hops, services : dict of (number, states) to Finding
    hop_states : dict of int to (states, channel seconds)
        For each hop the time of its channels at each modulation, both directions, as things are; 0 is down.
    busy_states : dict of int to (states, channel seconds)
        The same of busy hours alone; of hops over which no service has any, nothing.
    route_states : dict of int to (states, seconds)
        For each service the time at each lowest modulation along its working route, as things are; 0 is down.
    undelivered : dict of (number, states) to (causes, megabits of shape (n, 2))
        For each service what lacks of its peak and of its committed rate, both directions together, by exact
        set of cause flags.
    weather : dict of (number, ``ADAPTIVE``) to Finding
        Hops as they are, had their equipment always been in order.
    """

    hops: Findings
    services: Findings = field(default_factory=dict)
    hop_states: dict[int, Spent] = field(default_factory=dict)
    route_states: dict[int, Spent] = field(default_factory=dict)
    undelivered: dict[tuple[int, int], Spent] = field(default_factory=dict)
    weather: Findings = field(default_factory=dict)
    busy_states: dict[int, Spent] = field(default_factory=dict)

    def to_arrow(self) -> dict[str, pa.Table]:
        """Its tables, for storage."""
        cases = ((HOP, self.hops), (SERVICE, self.services), (WEATHER, self.weather))
        times = ((HOP, self.hop_states), (SERVICE, self.route_states), (BUSY, self.busy_states))
        rows: dict[str, list[dict[str, object]]] = {
            "findings": [
                {"kind": kind, "number": number, "states": states, **vars(found)}
                for kind, some in cases
                for (number, states), found in some.items()
            ],
            "modulations": [
                {"kind": kind, "number": number, "states": states, "seconds": seconds}
                for kind, some in times
                for number, (states, seconds) in some.items()
            ],
            "undelivered": [
                {"number": number, "states": states, "causes": causes, "megabits": megabits.ravel()}
                for (number, states), (causes, megabits) in self.undelivered.items()
            ],
        }
        return {name: pa.Table.from_pylist(some) for name, some in rows.items()}

    @classmethod
    def from_arrow(cls, tables: Mapping[str, pa.Table]) -> "BlockFindings":
        """The findings whose tables ``to_arrow`` gave."""
        cases: tuple[Findings, Findings, Findings] = ({}, {}, {})
        times: dict[int, dict[int, Spent]] = {HOP: {}, SERVICE: {}, BUSY: {}}
        for row in tables["findings"].to_pylist():
            kind, key = row.pop("kind"), (row.pop("number"), row.pop("states"))
            rate, seconds = (np.array(row.pop(name), dtype=np.float64) for name in ("rate_mbit_s", "seconds"))
            cases[kind][key] = Finding(**row, rate_mbit_s=rate, seconds=seconds)
        for row in tables["modulations"].to_pylist():
            spent = np.array(row["states"], dtype=np.int64), np.array(row["seconds"], dtype=np.float64)
            times[row["kind"]][row["number"]] = spent
        undelivered = {
            (row["number"], row["states"]): (
                np.array(row["causes"], dtype=np.int64),
                np.array(row["megabits"], dtype=np.float64).reshape(-1, 2),
            )
            for row in tables["undelivered"].to_pylist()
        }
        return cls(
            cases[HOP], cases[SERVICE], times[HOP], times[SERVICE], undelivered, cases[WEATHER], times[BUSY]
        )


def hop_finding(hop: HopHistory, duration_s: float) -> Finding:
    """What a hop offered; it is down while it carries nothing."""
    seconds = _state_seconds(hop.time_s, hop.state, hop.causes.size, duration_s)
    lost = three_ways(hop, duration_s)[2]
    found = _finding(float(lost.unavailable_s), float(lost.severely_errored_s), hop.capacity_mbit_s, seconds)
    changes = np.diff(hop.capacity_mbit_s[hop.state], axis=0).any(axis=1)
    return replace(found, steps=float(np.count_nonzero(changes)))


def service_finding(service: ServiceHistory) -> Finding:
    """What a service got."""
    lost = three_ways(service, service.duration_s)[2]
    return _finding(
        float(lost.unavailable_s), float(lost.severely_errored_s), service.rate_mbit_s, service.seconds
    )


def undelivered(demand: ServiceDemand, service: ServiceHistory) -> Spent:
    """Cause flags, and what lacks of the peak and of the committed rate [Mbit], both directions together."""
    keys, values = zip(*traffic_rows(0, demand, service)[UNDELIVERED], strict=True)
    table = KeyedTable.collect(UNDELIVERED, np.concatenate(keys), np.concatenate(values))
    causes, where = np.unique(table.key("causes"), return_inverse=True)
    megabits = np.zeros((causes.size, 2))
    np.add.at(megabits, where, table.values[:, :2])
    return causes, megabits


def busy_hours(demands: Sequence[ServiceDemand], duration_s: float) -> Stretches | None:
    """Hours in which one of some services asks for as much as it ever does; None where none has any."""
    busy = []
    for clock in {each.clock for each in demands if each.clock is not None}:
        time_s, level = clock.history(duration_s)
        busy.append(where(level == np.flatnonzero(clock.week)[-1], time_s, duration_s))
    if not busy:
        return None
    start_s, end_s = (np.concatenate(side) for side in zip(*busy, strict=True))
    union = merged(np.zeros(start_s.size, dtype=np.int64), start_s, end_s, n_rows=1)
    return union.start_s, union.end_s


def channel_states(
    timeline: HopHistory, names: Ints, duration_s: float, within: Stretches | None = None
) -> Spent:
    """Time of the channels of a hop, both directions, at each modulation [channel seconds].

    ``within`` some stretches of time, or throughout.
    """
    seconds = _state_seconds(timeline.time_s, timeline.state, len(timeline.levels), duration_s)
    if within is not None:
        spent = seconds_between(np.append(timeline.time_s, duration_s), *within)
        seconds = np.bincount(timeline.state, spent, len(timeline.levels)).astype(np.float64)
    counts = (timeline.levels.reshape(len(seconds), -1, 1) == np.arange(names.size)).sum(axis=1)
    return names, seconds @ counts.astype(np.float64)


def lowest_along(chain: Sequence[tuple[HopHistory, Ints]], duration_s: float) -> Spent:
    """Time [s] at each lowest value along a chain of hops; each comes with one value a state."""
    time_s = np.unique(np.concatenate([np.zeros(1), *(hop.time_s for hop, _ in chain)]))
    lowest = np.full(time_s.size, np.iinfo(np.int64).max)
    for hop, value in chain:
        state = hop.state[np.searchsorted(hop.time_s, time_s, side="right") - 1]
        lowest = np.minimum(lowest, value[state])
    names, where = np.unique(lowest, return_inverse=True)
    spent = np.bincount(where, weights=np.diff(np.append(time_s, duration_s)), minlength=names.size)
    return names, spent.astype(np.float64)


def _state_seconds(time_s: Floats, state: NDArray[np.integer], n_states: int, duration_s: float) -> Floats:
    spent = np.bincount(state, weights=np.diff(np.append(time_s, duration_s)), minlength=n_states)
    return spent.astype(np.float64)


def _finding(unavailable_s: float, severe_s: float, rates: Floats, seconds: Floats) -> Finding:
    rate, where = np.unique(rates.min(axis=1), return_inverse=True)
    spent = np.bincount(where, weights=seconds, minlength=rate.size).astype(np.float64)
    mean = float(rates.mean(axis=1) @ seconds / seconds.sum())
    return Finding(unavailable_s, severe_s, mean, rate, spent)
