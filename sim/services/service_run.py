"""The state of one services sweep: tables that grow, and the histories they become."""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.services.service_kernel import run_spans
from hopyears.sim.services.service_plan import Plan, like_but_for_hop_states
from hopyears.sim.services.service_tables import (
    EMPTY,
    N_NOTED,
    N_OUT,
    N_RESULTS,
    N_ROWS,
    N_WORDS,
    ROW_CELLS_A_SERVICE,
    Shares,
    Spans,
    Sweep,
    Touched,
    empty_shares,
    filed_results,
    filed_words,
)

ROW_CELLS = 1 << 23
"""Most cells kept of judged joint states (32 MiB); when they are full the judged states are forgotten."""

MOST_STATES = 1 << 18
"""Most joint states kept, whose words take 32 MiB."""

MOST_RESULTS = 1 << 18
"""Most results with which another history begins (32 MiB)."""


_NO_CHANGES = (np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))


class Outages(NamedTuple):
    """Stretches of all services, those of a service after those of the one before, and what takes them down.

    Attributes
    ----------
    first : int array, shape (n_services + 1,)
        Stretches of service s are ``first[s]`` to ``first[s + 1]``.
    time_s : float array, shape (n,)
        When each begins [s]; it lasts until the next, the last to ``duration_s``.
    down : bool array, shape (n, 2)
    causes : int array, shape (n, 2)
        As of ``ServiceHistory``, likewise what follows.
    below_s : float array, shape (n_spans, n_services)
        Time below the committed rate either way, though not down, in each span asked for [s].
    severe_share : float array, shape (n_services,)
    duration_s : float
    """

    first: Ints
    time_s: Floats
    down: Bools
    causes: Ints
    below_s: Floats
    severe_share: Floats
    duration_s: float

    def down_intervals(self, service: int, direction: int) -> tuple[Floats, Floats, Ints]:
        """As ``ServiceHistory.down_intervals``, of one of the services."""
        own = slice(self.first[service], self.first[service + 1])
        down, start_s = self.down[own, direction], self.time_s[own]
        end_s = np.append(start_s[1:], self.duration_s)
        return start_s[down], end_s[down], self.causes[own, direction][down]


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
        self._written: list[tuple[Floats, NDArray[np.int16], NDArray[np.int32]]] = []
        n_services = plan.routes.of_service.size - 1
        n_links = plan.hops_of_link.first.size - 1
        self._spans = _spans((), n_services)
        n_groups = plan.groups.services.first.size - 1
        self._shares = empty_shares(plan)
        self._touched = Touched(np.zeros(n_groups, dtype=np.int64), np.zeros(n_groups, dtype=np.bool_))
        self._sweep = _empty_sweep(
            plan.hops.first.size - 1, n_services, n_groups, plan.clocks.first.size - 1, n_links
        )

    def serves(self, plan: Plan, record_rates: bool) -> bool:
        """Whether this may start with another plan."""
        return record_rates == self._record_rates and like_but_for_hop_states(self._plan, plan)

    def start(
        self,
        plan: Plan,
        span_edges_s: Sequence[float] | Floats,
        hop_states: Sequence[int],
        choices: Sequence[int],
        levels: Sequence[int],
    ) -> None:
        """Begin at time 0 with a plan that it ``serves``.

        What an earlier history has taught is kept: the results of joint states.

        Parameters
        ----------
        plan : Plan
        span_edges_s : sequence of float
            Edges of the spans to be summed up (``ServiceHistory.spans``), rising from 0.
        hop_states, choices, levels : sequences of int
            States of hops, choices of routes and levels of clocks after 0.
        """
        self._plan, self._spans = plan, _spans(span_edges_s, len(choices))
        if self._sweep.used[N_RESULTS] > MOST_RESULTS:
            _forget_states(self._sweep)
            self._sweep.result_in[:], self._sweep.used[N_RESULTS] = EMPTY, 0
            self._shares = empty_shares(plan)
        sweep = self._sweep
        sweep.hop_state[:] = hop_states
        sweep.choice[:] = choices
        sweep.level[1:] = levels
        sweep.group_row[:] = sweep.current[:] = -1
        sweep.stale[:] = np.arange(sweep.stale.size)
        sweep.n_stale[:], sweep.is_stale[:] = np.diff(self._plan.groups.links.first), True
        sweep.turned[:] = self._plan.groups.services.item
        sweep.n_turned[:], sweep.is_turned[:] = np.diff(self._plan.groups.services.first), True
        sweep.seconds[:] = sweep.counted_s[:] = 0.0
        sweep.is_noted[:] = False
        sweep.used[N_OUT] = sweep.used[N_NOTED] = 0
        self._written.clear()
        self._make_room()
        self._sweep.group_word[:] = self._words()
        run_spans(*self._all, *_NO_CHANGES, -1, self._record_rates, False)

    def apply(self, time_s: Floats, entity: Ints, state: Ints) -> None:
        """Apply changes in order of time; all changes of one instant must come in one call."""
        done = 0
        while done < time_s.size:
            done = run_spans(*self._all, time_s, entity, state, done, self._record_rates, False)
            self._make_room()

    @property
    def _all(self) -> tuple[Plan, Sweep, Shares, Touched, Spans]:
        return self._plan, self._sweep, self._shares, self._touched, self._spans

    def _words(self) -> NDArray[np.uint64]:
        """Word of each group in the states of all entities."""
        # Its first part keeps groups on the same hops apart. 2^64 over the golden ratio: multiples of it are
        # spread over all bits.
        plan, sweep = self._plan, self._sweep
        states = np.concatenate([sweep.hop_state, sweep.choice, sweep.level])
        words = np.arange(1, sweep.group_word.size + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
        of_entity = plan.word[plan.word_first[:-1] + states]
        touched = plan.groups_of_entity
        np.bitwise_xor.at(words, touched.item, np.repeat(of_entity, np.diff(touched.first)))
        return words

    def outages(self, duration_s: float, severe_share: Floats) -> Outages:
        """Close the sweep at its end and give what takes services down."""
        time_s, result, cuts = self._closed()
        down, causes = self._sweep.down[result], self._sweep.causes[result]
        below_s = self._spans.lacking[:, :, 2, 1].copy()
        return Outages(cuts, time_s, down, causes, below_s, severe_share, duration_s)

    def _closed(self) -> tuple[Floats, NDArray[np.int32], Ints]:
        """Times and results of all services, one after the other, and where those of each begin."""
        sweep = self._sweep
        self._write_down()
        run_spans(*self._all, *_NO_CHANGES, 0, self._record_rates, True)
        time_s, service, result = (np.concatenate(column) for column in zip(*self._written, strict=True))
        order = np.argsort(service, kind="stable")
        cuts = np.searchsorted(service[order], np.arange(sweep.choice.size + 1))
        return time_s[order], result[order], cuts

    def histories(self, duration_s: float) -> list[ServiceHistory]:
        """Close the sweep at its end and give the history of each service."""
        sweep, spans = self._sweep, self._spans
        time_s, result, cuts = self._closed()
        seconds = sweep.seconds[: sweep.used[N_RESULTS]].copy()
        np.add.at(seconds, sweep.current, duration_s - sweep.since)
        met = seconds > 0.0
        met[result] = True
        met_here = np.flatnonzero(met)
        by_owner = met_here[np.argsort(sweep.service[met_here], kind="stable")]
        shares = np.searchsorted(sweep.service[by_owner], np.arange(sweep.choice.size + 1))
        histories = []
        for s in range(sweep.choice.size):
            own = by_owner[shares[s] : shares[s + 1]]
            entries = slice(cuts[s], cuts[s + 1])
            number = np.searchsorted(own, result[entries]).astype(np.int32)
            tables = (sweep.rate[own], sweep.down[own], sweep.causes[own], seconds[own])
            histories.append(
                ServiceHistory(
                    time_s[entries],
                    number,
                    *tables,
                    duration_s,
                    spans=spans.lacking[:, s].copy(),
                    asked_share=sweep.share[own],
                )
            )
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
        most_cells = ROW_CELLS_A_SERVICE * n_services
        if 2 * (sweep.used[N_ROWS] + most_cells) > sweep.row.size:
            if sweep.row.size < max(ROW_CELLS, 4 * most_cells):
                sweep = sweep._replace(row=_resized(sweep.row, 2 * (sweep.row.size + most_cells)))
            else:
                _forget_states(sweep)
        if sweep.used[N_WORDS] > MOST_STATES:
            _forget_states(sweep)
        if 4 * (sweep.used[N_WORDS] + n_services) > sweep.word.size:
            word, row_of = _no_words(4 * (sweep.used[N_WORDS] + n_services))
            sweep = _with_words(sweep, word, row_of)
        n_results = sweep.used[N_RESULTS] + n_services
        if 2 * n_results > sweep.service.size:
            names = (
                "service",
                "rate",
                "down",
                "causes",
                "share",
                "seconds",
                "counted_s",
                "noted",
                "is_noted",
            )
            sweep = sweep._replace(**{name: _resized(getattr(sweep, name), 4 * n_results) for name in names})
        if 4 * n_results > sweep.result_in.size:
            sweep = _with_results(sweep, np.full(_slots(8 * n_results), EMPTY, dtype=np.int32))
        self._sweep = sweep


def _with_words(sweep: Sweep, word: NDArray[np.uint64], row_of: Ints) -> Sweep:
    """The sweep with its joint states in other, empty tables."""
    filed_words(sweep.word, sweep.row_of, word, row_of)
    return sweep._replace(word=word, row_of=row_of)


def _with_results(sweep: Sweep, result_in: NDArray[np.int32]) -> Sweep:
    """The sweep with its results in another, empty table."""
    known = (sweep.service, sweep.rate, sweep.down, sweep.causes, sweep.share)
    filed_results(result_in, *known, sweep.used[N_RESULTS])
    return sweep._replace(result_in=result_in)


def _spans(edges_s: Sequence[float] | Floats, n_services: int) -> Spans:
    """Spans of which none is closed yet."""
    ends_s = np.array(edges_s[1:], dtype=np.float64)
    return Spans(ends_s, np.zeros(1, dtype=np.int64), np.zeros((ends_s.size, n_services, 3, 2)))


def _forget_states(sweep: Sweep) -> None:
    """Forget the joint states that have been judged, not what they came to."""
    sweep.row_of[:] = sweep.usual[:] = EMPTY
    sweep.group_row[:] = sweep.mark[:] = -1
    sweep.used[N_ROWS] = sweep.used[N_WORDS] = 0


def enlarge_tables() -> None:
    """Call both loops that enlarge tables, on empty ones."""
    sweep = _empty_sweep(1, 1, 1, 1, 1)
    _with_results(_with_words(sweep, *_no_words(1)), sweep.result_in)


def _slots(least: int) -> int:
    """The next power of two."""
    return 1 << int(least - 1).bit_length()


def _no_words(n_slots: int) -> tuple[NDArray[np.uint64], Ints]:
    size = _slots(2 * n_slots)
    return np.zeros(size, dtype=np.uint64), np.full(size, EMPTY, dtype=np.int64)


def _resized(table: NDArray[Any], size: int) -> NDArray[Any]:
    """A copy with ``size`` rows, the new ones zero."""
    larger = np.zeros((size, *table.shape[1:]), dtype=table.dtype)
    kept = min(size, table.shape[0])
    larger[:kept] = table[:kept]
    return larger


def _empty_sweep(n_hops: int, n_services: int, n_groups: int, n_clocks: int, n_links: int) -> Sweep:
    n_results = 8 * n_services + 64
    n_out = max(1 << 16, 2 * n_services)
    word, row_of = _no_words(4 * n_services + 64)
    return Sweep(
        used=np.zeros(5, dtype=np.int64),
        hop_state=np.zeros(n_hops, dtype=np.int64),
        choice=np.zeros(n_services, dtype=np.int64),
        level=np.zeros(n_clocks, dtype=np.int64),
        stale=np.zeros(n_links, dtype=np.int64),
        n_stale=np.zeros(n_groups, dtype=np.int64),
        is_stale=np.zeros(n_links, dtype=np.bool_),
        turned=np.zeros(n_services, dtype=np.int64),
        n_turned=np.zeros(n_groups, dtype=np.int64),
        is_turned=np.zeros(n_services, dtype=np.bool_),
        group_word=np.zeros(n_groups, dtype=np.uint64),
        group_row=np.full(n_groups, -1, dtype=np.int64),
        current=np.full(n_services, -1, dtype=np.int32),
        since=np.zeros(n_services),
        word=word,
        row_of=row_of,
        row=np.zeros(8 * n_services + 1024, dtype=np.int32),
        usual=np.full(n_services, EMPTY, dtype=np.int32),
        mark=np.full(n_services, -1, dtype=np.int64),
        result_in=np.full(_slots(4 * n_results), EMPTY, dtype=np.int32),
        service=np.zeros(n_results, dtype=np.int32),
        rate=np.zeros((n_results, 2)),
        down=np.zeros((n_results, 2), dtype=np.bool_),
        causes=np.zeros((n_results, 2), dtype=np.int64),
        share=np.ones(n_results),
        seconds=np.zeros(n_results),
        counted_s=np.zeros(n_results),
        noted=np.zeros(n_results, dtype=np.int32),
        is_noted=np.zeros(n_results, dtype=np.bool_),
        out_time=np.zeros(n_out),
        out_service=np.zeros(n_out, dtype=np.int16),
        out_result=np.zeros(n_out, dtype=np.int32),
    )
