"""The state of one services sweep: tables that grow, and the histories they become."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numba import types
from numba.typed import Dict
from numpy.typing import NDArray

from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.services.service_kernel import run_changes, start_groups
from hopyears.sim.services.service_plan import Plan
from hopyears.sim.services.service_tables import N_OUT, N_RESULTS, N_ROWS, Scratch, Sweep

_Ints = NDArray[np.int64]
_Floats = NDArray[np.float64]

ROW_CELLS = 1 << 25
"""Most cells kept of judged joint states (128 MiB); when they are full the judged states are forgotten."""


class ServiceRun:
    """One sweep under way.

    Parameters
    ----------
    plan : Plan
        Network and services as numbers.
    record_rates : bool
        Whether every change of rate is written down.
    """

    def __init__(self, plan: Plan, record_rates: bool) -> None:
        self._plan = plan
        self._record_rates = record_rates
        self._written: list[tuple[_Floats, NDArray[np.int16], NDArray[np.int32]]] = []
        n_services = plan.routes.of_service.size - 1
        n_links = plan.hops_of_link.first.size - 1
        n_groups = plan.groups.services.first.size - 1
        self._scratch = Scratch(
            left=np.zeros(2 * n_links),
            full=np.zeros(2 * n_links),
            crossing=np.zeros(2 * n_links, dtype=np.int64),
            first=np.zeros(2 * n_services, dtype=np.int64),
            last=np.zeros(2 * n_services, dtype=np.int64),
            flows=np.zeros(2 * n_services, dtype=np.int64),
            rate=np.zeros(2 * n_services),
            active=np.zeros(2 * n_services, dtype=np.int64),
            link_causes=np.zeros(n_links, dtype=np.int64),
            touched=np.zeros(n_groups, dtype=np.int64),
            is_touched=np.zeros(n_groups, dtype=np.bool_),
        )
        self._sweep = _empty_sweep(plan.hops.first.size - 1, n_services, n_groups)

    def start(self, hop_states: Sequence[int], choices: Sequence[int]) -> None:
        """Begin at time 0 with the given states of hops and choices of routes."""
        self._sweep.hop_state[:] = hop_states
        self._sweep.choice[:] = choices
        self._make_room()
        start_groups(self._plan, self._sweep, self._scratch)

    def apply(self, time_s: _Floats, entity: _Ints, state: _Ints) -> None:
        """Apply changes in order of time; all changes of one instant must come in one call."""
        done = 0
        while done < time_s.size:
            arguments = (time_s, entity, state, done, self._record_rates)
            done = run_changes(self._plan, self._sweep, self._scratch, *arguments)
            self._make_room()

    def histories(self, duration_s: float) -> list[ServiceHistory]:
        """Close the sweep at its end and give the history of each service."""
        sweep = self._sweep
        self._write_down()
        seconds = sweep.seconds[: sweep.used[N_RESULTS]].copy()
        np.add.at(seconds, sweep.current, duration_s - sweep.since)
        time_s, service, result = (np.concatenate(column) for column in zip(*self._written, strict=True))
        order = np.argsort(service, kind="stable")
        cuts = np.searchsorted(service[order], np.arange(sweep.choice.size + 1))
        owner = sweep.service[: seconds.size]
        histories = []
        for s in range(sweep.choice.size):
            own = np.flatnonzero(owner == s)
            entries = order[cuts[s] : cuts[s + 1]]
            number = np.searchsorted(own, result[entries]).astype(np.int32)
            tables = (sweep.rate[own], sweep.down[own], sweep.causes[own], seconds[own])
            histories.append(ServiceHistory(time_s[entries], number, *tables, duration_s))
        return histories

    def _write_down(self) -> None:
        sweep = self._sweep
        done = slice(0, sweep.used[N_OUT])
        written = (sweep.out_time[done].copy(), sweep.out_service[done].copy(), sweep.out_result[done].copy())
        self._written.append(written)
        sweep.used[N_OUT] = 0

    def _make_room(self) -> None:
        """Write down what is finished and enlarge each table that is more than half full."""
        self._write_down()
        sweep = self._sweep
        n_services = sweep.choice.size
        if 2 * (sweep.used[N_ROWS] + n_services) > sweep.row.size:
            if sweep.row.size < max(ROW_CELLS, 4 * n_services):
                sweep = sweep._replace(row=_resized(sweep.row, 2 * (sweep.row.size + n_services)))
            else:
                sweep = sweep._replace(row_of=_no_rows())
                sweep.used[N_ROWS] = 0
                sweep.group_row[:] = -1
        n_results = sweep.used[N_RESULTS] + n_services
        if 2 * n_results > sweep.service.size:
            names = ("service", "rate", "down", "causes", "seconds")
            sweep = sweep._replace(**{name: _resized(getattr(sweep, name), 4 * n_results) for name in names})
        self._sweep = sweep


def _no_rows() -> Dict:
    return Dict.empty(types.uint64, types.int64)


def _resized(table: NDArray[Any], size: int) -> NDArray[Any]:
    """A copy with ``size`` rows, the new ones zero."""
    larger = np.zeros((size, *table.shape[1:]), dtype=table.dtype)
    kept = min(size, table.shape[0])
    larger[:kept] = table[:kept]
    return larger


def _empty_sweep(n_hops: int, n_services: int, n_groups: int) -> Sweep:
    n_results = 8 * n_services + 64
    n_out = max(1 << 16, 2 * n_services)
    return Sweep(
        used=np.zeros(3, dtype=np.int64),
        hop_state=np.zeros(n_hops, dtype=np.int64),
        choice=np.zeros(n_services, dtype=np.int64),
        group_word=np.zeros(n_groups, dtype=np.uint64),
        group_row=np.full(n_groups, -1, dtype=np.int64),
        current=np.full(n_services, -1, dtype=np.int32),
        since=np.zeros(n_services),
        row_of=_no_rows(),
        row=np.zeros(8 * n_services + 1024, dtype=np.int32),
        number_of=Dict.empty(types.UniTuple(types.int64, 5), types.int64),  # type: ignore[no-untyped-call]
        service=np.zeros(n_results, dtype=np.int32),
        rate=np.zeros((n_results, 2)),
        down=np.zeros((n_results, 2), dtype=np.bool_),
        causes=np.zeros((n_results, 2), dtype=np.int64),
        seconds=np.zeros(n_results),
        out_time=np.zeros(n_out),
        out_service=np.zeros(n_out, dtype=np.int16),
        out_result=np.zeros(n_out, dtype=np.int32),
    )
