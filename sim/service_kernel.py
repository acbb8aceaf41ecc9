"""The inner loop of the services sweep: one joint state of a group of services is judged once.

The joint state of a group (the states of its hops, the routes its services use) is known by a 64-bit
word, the exclusive-or of one random word for each (entity, state): a change costs two exclusive-ors and
one look into a table. Two joint states of one word would be taken for one; among a million states the
chance is about 3e-8.

References
----------
A. L. Zobrist, A new hashing method with application for game playing, University of Wisconsin, Computer
Sciences Technical Report 88 (1970).
"""

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from models.cause import Cause
from models.sharing import share_kernel
from sim.service_plan import Plan

_kernel: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True)

_Ints = NDArray[np.int64]
_Floats = NDArray[np.float64]

_SWITCHING = int(Cause.SWITCHING)
_CONGESTION = int(Cause.CONGESTION)
_SMALL = 1e-6  # [Mbit/s]: one bit a second is no loss

N_OUT, N_ROWS, N_RESULTS, N_STATES, N_JUDGED = range(5)
"""Places in ``Sweep.used``: entries written, row cells, results and joint states in use; judgements made."""


class Sweep(NamedTuple):
    """What changes in a sweep. Tables have room to spare; the kernel stops when one needs more."""

    used: _Ints
    hop_state: _Ints  # by hop
    choice: _Ints  # by service: its route, or n_routes + the route being left
    group_word: NDArray[np.uint64]
    group_row: _Ints
    current: NDArray[np.int32]  # by service: its result
    since: _Floats  # by service: when that began
    state_word: NDArray[np.uint64]  # open addressing: word of a joint state -> its row
    state_row: _Ints
    row: NDArray[np.int32]  # rows: result of each service of the group
    result_slot: NDArray[np.int32]  # open addressing: result -> its number
    service: NDArray[np.int32]  # by result
    rate: _Floats  # (n, 2) as the rest
    down: NDArray[np.bool_]
    causes: _Ints
    seconds: _Floats
    out_time: _Floats
    out_service: NDArray[np.int16]
    out_result: NDArray[np.int32]


class Scratch(NamedTuple):
    """Working space of a judgement, by link direction, by flow or by service."""

    left: _Floats
    full: _Floats
    crossing: _Ints
    first: _Ints
    last: _Ints
    flows: _Ints
    rate: _Floats
    active: _Ints
    link_causes: _Ints
    touched: _Ints
    is_touched: NDArray[np.bool_]


@_kernel
def run_changes(
    plan: Plan,
    sweep: Sweep,
    scratch: Scratch,
    time_s: _Floats,
    entity: _Ints,
    state: _Ints,
    start: int,
    record_rates: bool,
) -> int:
    """Apply sorted changes from number ``start``; the number of the first one not yet applied.

    Fewer than all are applied when a table is nearly full: enlarge it and call again.
    """
    n_hops = sweep.hop_state.size
    n_services = sweep.choice.size
    i = start
    while i < time_s.size:
        if _crowded(sweep, n_services, sweep.group_word.size):
            return i
        now = time_s[i]
        n_touched = 0
        while i < time_s.size and time_s[i] == now:
            e, new = entity[i], state[i]
            i += 1
            if e < n_hops:
                old = sweep.hop_state[e]
                sweep.hop_state[e] = new
            else:
                old = sweep.choice[e - n_hops]
                sweep.choice[e - n_hops] = new
            if old == new:
                continue
            at = plan.entity_key_first[e]
            word = plan.entity_key[at + old] ^ plan.entity_key[at + new]
            for k in range(plan.entity_group_first[e], plan.entity_group_first[e + 1]):
                g = plan.entity_group[k]
                sweep.group_word[g] ^= word
                if not scratch.is_touched[g]:
                    scratch.is_touched[g] = True
                    scratch.touched[n_touched] = g
                    n_touched += 1
        for k in range(n_touched):
            g = scratch.touched[k]
            scratch.is_touched[g] = False
            _enter(plan, sweep, scratch, g, now, record_rates)
    return i


@_kernel
def start_groups(plan: Plan, sweep: Sweep, scratch: Scratch) -> None:
    """Judge every group in the state of time 0 and write the first entry of every service."""
    for g in range(sweep.group_word.size):
        word = _group_salt(g)
        for e in range(plan.entity_group_first.size - 1):
            for k in range(plan.entity_group_first[e], plan.entity_group_first[e + 1]):
                if plan.entity_group[k] == g:
                    n_hops = sweep.hop_state.size
                    old = sweep.hop_state[e] if e < n_hops else sweep.choice[e - n_hops]
                    word ^= plan.entity_key[plan.entity_key_first[e] + old]
        sweep.group_word[g] = word
        _enter(plan, sweep, scratch, g, 0.0, True)


@_kernel
def _group_salt(g: int) -> np.uint64:
    return np.uint64(g + 1) * np.uint64(0x9E3779B97F4A7C15)


@_kernel
def _crowded(sweep: Sweep, n_services: int, n_groups: int) -> bool:
    n_results = sweep.used[N_RESULTS] + n_services
    return bool(
        sweep.used[N_OUT] + n_services > sweep.out_time.size
        or sweep.used[N_ROWS] + n_services > sweep.row.size
        or 2 * n_results > sweep.result_slot.size
        or n_results > sweep.service.size
        or 2 * (sweep.used[N_STATES] + n_groups) > sweep.state_word.size
    )


@_kernel
def _enter(plan: Plan, sweep: Sweep, scratch: Scratch, g: int, now: float, record_rates: bool) -> None:
    """Move the services of a group to the results of its joint state."""
    at, known = _find_state(sweep, sweep.group_word[g])
    if not known:
        sweep.state_word[at] = sweep.group_word[g]
        sweep.state_row[at] = sweep.used[N_ROWS]
        sweep.used[N_STATES] += 1
        _judge(plan, sweep, scratch, g)
    row = sweep.state_row[at]
    if row == sweep.group_row[g]:
        return
    sweep.group_row[g] = row
    first = plan.group_service_first[g]
    for k in range(first, plan.group_service_first[g + 1]):
        s = plan.group_service[k]
        old, new = sweep.current[s], sweep.row[row + k - first]
        if old == new:
            continue
        if old >= 0:
            sweep.seconds[old] += now - sweep.since[s]
        sweep.current[s] = new
        sweep.since[s] = now
        if record_rates or old < 0 or _differs(sweep, old, new):
            n = sweep.used[N_OUT]
            sweep.out_time[n], sweep.out_service[n], sweep.out_result[n] = now, s, new
            sweep.used[N_OUT] += 1


@_kernel
def _find_state(sweep: Sweep, word: np.uint64) -> tuple[int, bool]:
    mask = sweep.state_word.size - 1
    at = int(np.int64(word & np.uint64(mask)))
    while sweep.state_row[at] >= 0:
        if sweep.state_word[at] == word:
            return at, True
        at = (at + 1) & mask
    return at, False


@_kernel
def _differs(sweep: Sweep, a: int, b: int) -> bool:
    """Whether two results differ in being down or in the causes of it."""
    for d in range(2):
        if sweep.down[a, d] != sweep.down[b, d]:
            return True
        if sweep.down[a, d] and sweep.causes[a, d] != sweep.causes[b, d]:
            return True
    return False


@_kernel
def _judge(plan: Plan, sweep: Sweep, scratch: Scratch, g: int) -> None:
    """Share the capacity of a group's links and write its row of results."""
    sweep.used[N_JUDGED] += 1
    for k in range(plan.group_link_first[g], plan.group_link_first[g + 1]):
        _set_link(plan, sweep, scratch, plan.group_link[k])
    n = 0
    n_codes = plan.route_code.shape[1]
    for k in range(plan.group_flow_first[g], plan.group_flow_first[g + 1]):
        f = plan.group_flow[k]
        s, d = f // 2, f % 2
        scratch.rate[f] = 0.0
        route = plan.service_route_first[s] + sweep.choice[s]
        if route < plan.service_route_first[s + 1]:
            scratch.first[f] = plan.route_first[route] + d * n_codes
            scratch.last[f] = plan.route_first[route + 1] + d * n_codes
            scratch.flows[n] = f
            n += 1
    share_kernel(
        scratch.left, scratch.first, scratch.last, plan.route_code.reshape(-1), scratch.flows[:n],
        plan.committed, plan.peak, plan.priority, scratch.rate, scratch.crossing, scratch.active,
    )  # fmt: skip
    for k in range(plan.group_service_first[g], plan.group_service_first[g + 1]):
        s = plan.group_service[k]
        sweep.row[sweep.used[N_ROWS]] = _result(plan, sweep, scratch, s)
        sweep.used[N_ROWS] += 1


@_kernel
def _set_link(plan: Plan, sweep: Sweep, scratch: Scratch, link: int) -> None:
    """Capacity and causes of a link: parallel hops add up."""
    forward = backward = 0.0
    causes = 0
    for k in range(plan.link_hop_first[link], plan.link_hop_first[link + 1]):
        hop = plan.link_hop[k]
        at = plan.state_first[hop] + sweep.hop_state[hop]
        forward += plan.capacity_forward[at]
        backward += plan.capacity_backward[at]
        causes |= plan.causes[at]
    scratch.full[2 * link] = scratch.left[2 * link] = forward
    scratch.full[2 * link + 1] = scratch.left[2 * link + 1] = backward
    scratch.link_causes[link] = causes


@_kernel
def _result(plan: Plan, sweep: Sweep, scratch: Scratch, s: int) -> int:
    """Number of the result of one service, a new one if it has not been seen."""
    n = sweep.used[N_RESULTS]
    for d in range(2):
        f = 2 * s + d
        rate = scratch.rate[f]
        down = rate < plan.required[f] - _SMALL or rate <= 0.0
        sweep.rate[n, d] = np.round(rate * 1e3) / 1e3
        sweep.down[n, d] = down
        lost = rate < plan.peak[f] - _SMALL
        sweep.causes[n, d] = _causes(plan, sweep, scratch, s, d, down) if lost else 0
    sweep.service[n] = s
    mask = sweep.result_slot.size - 1
    at = _result_word(sweep, n) & mask
    while sweep.result_slot[at] >= 0:
        m = sweep.result_slot[at]
        same = sweep.service[m] == s
        for d in range(2):
            same = same and sweep.rate[m, d] == sweep.rate[n, d] and sweep.causes[m, d] == sweep.causes[n, d]
            same = same and sweep.down[m, d] == sweep.down[n, d]
        if same:
            return int(m)
        at = (at + 1) & mask
    sweep.result_slot[at] = n
    sweep.seconds[n] = 0.0
    sweep.used[N_RESULTS] += 1
    return int(n)


@_kernel
def _result_word(sweep: Sweep, n: int) -> int:
    """Well mixed number of a result's content."""
    mixed = np.uint64(sweep.service[n] + 1)
    for d in range(2):
        for part in (np.int64(sweep.rate[n, d] * 1e3), sweep.causes[n, d] * 2 + sweep.down[n, d]):
            mixed = (mixed ^ np.uint64(part)) * np.uint64(0xBF58476D1CE4E5B9)
            mixed ^= mixed >> np.uint64(29)
    return int(np.int64(mixed >> np.uint64(1)))


@_kernel
def fill_slots(old: Sweep, new: Sweep) -> None:
    """Enter what is in the tables of ``old`` into the empty, larger hash tables of ``new``."""
    mask = new.result_slot.size - 1
    for n in range(new.used[N_RESULTS]):
        at = _result_word(new, n) & mask
        while new.result_slot[at] >= 0:
            at = (at + 1) & mask
        new.result_slot[at] = n
    for k in range(old.state_row.size):
        if old.state_row[k] >= 0:
            at, _ = _find_state(new, old.state_word[k])
            new.state_word[at] = old.state_word[k]
            new.state_row[at] = old.state_row[k]


@_kernel
def _causes(plan: Plan, sweep: Sweep, scratch: Scratch, s: int, d: int, down: bool) -> int:
    """Why a direction of a service gets less than it should (see ``sim.service`` for the rule)."""
    f = 2 * s + d
    need = plan.required[f] if down and plan.required[f] > 0.0 else plan.peak[f]
    route0, route1 = plan.service_route_first[s], plan.service_route_first[s + 1]
    used = route0 + sweep.choice[s]
    if used >= route1:
        return int(_SWITCHING | _too_small(plan, scratch, used - (route1 - route0), d, need))
    causes = _too_small(plan, scratch, used, d, need)
    if down:
        for route in range(route0, route1):
            causes |= _too_small(plan, scratch, route, d, need)
    if causes:
        return int(causes)
    for k in range(plan.route_first[used], plan.route_first[used + 1]):
        code = plan.route_code[d, k]
        if scratch.left[code] <= _SMALL:
            own = scratch.link_causes[code // 2]
            causes |= own if own else _CONGESTION
    return int(causes) if causes else _CONGESTION


@_kernel
def _too_small(plan: Plan, scratch: Scratch, route: int, d: int, need: float) -> int:
    """Causes of the links of a route that could not carry the need even alone."""
    causes = 0
    for k in range(plan.route_first[route], plan.route_first[route + 1]):
        code = plan.route_code[d, k]
        if scratch.full[code] < need - _SMALL:
            own = scratch.link_causes[code // 2]
            causes |= own if own else _CONGESTION
    return int(causes)
