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
# A call hands over every array of a tuple by value; inlined, it hands over none.
_inlined: Callable[..., Any] = njit(cache=True, error_model="numpy", nogil=True, forceinline=True)

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
    hop_state, choice, group_word = sweep.hop_state, sweep.choice, sweep.group_word
    key_first, keys = plan.entity_key_first, plan.entity_key
    group_first, groups = plan.entity_group_first, plan.entity_group
    touched, is_touched = scratch.touched, scratch.is_touched
    n_hops = hop_state.size
    i = start
    while i < time_s.size:
        if _crowded(sweep, choice.size, group_word.size):
            return i
        now = time_s[i]
        n_touched = 0
        while i < time_s.size and time_s[i] == now:
            e, new = entity[i], state[i]
            i += 1
            if e < n_hops:
                old = hop_state[e]
                hop_state[e] = new
            else:
                old = choice[e - n_hops]
                choice[e - n_hops] = new
            if old == new:
                continue
            word = keys[key_first[e] + old] ^ keys[key_first[e] + new]
            for k in range(group_first[e], group_first[e + 1]):
                g = groups[k]
                group_word[g] ^= word
                if not is_touched[g]:
                    is_touched[g] = True
                    touched[n_touched] = g
                    n_touched += 1
        for k in range(n_touched):
            is_touched[touched[k]] = False
            _enter(plan, sweep, scratch, touched[k], now, record_rates)
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


@_inlined
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
    rows, current, since, seconds = sweep.row, sweep.current, sweep.since, sweep.seconds
    down, causes = sweep.down, sweep.causes
    out_time, out_service, out_result = sweep.out_time, sweep.out_service, sweep.out_result
    n = sweep.used[N_OUT]
    for k in range(plan.group_service_first[g], plan.group_service_first[g + 1]):
        s = plan.group_service[k]
        old, new = current[s], rows[row]
        row += 1
        if old == new:
            continue
        if old >= 0:
            seconds[old] += now - since[s]
        current[s] = new
        since[s] = now
        if record_rates or old < 0 or _differs(down, causes, old, new):
            out_time[n], out_service[n], out_result[n] = now, s, new
            n += 1
    sweep.used[N_OUT] = n


@_inlined
def _find_state(sweep: Sweep, word: np.uint64) -> tuple[int, bool]:
    mask = sweep.state_word.size - 1
    at = int(np.int64(word & np.uint64(mask)))
    while sweep.state_row[at] >= 0:
        if sweep.state_word[at] == word:
            return at, True
        at = (at + 1) & mask
    return at, False


@_inlined
def _differs(down: NDArray[np.bool_], causes: _Ints, a: int, b: int) -> bool:
    """Whether two results differ in being down or in the causes of it."""
    for d in range(2):
        if down[a, d] != down[b, d]:
            return True
        if down[a, d] and causes[a, d] != causes[b, d]:
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
    _write_row(plan, sweep, scratch, g)


@_inlined
def _set_link(plan: Plan, sweep: Sweep, scratch: Scratch, link: int) -> None:
    """Capacity of a link, parallel hops added, and its causes: ``CONGESTION`` when nothing is wrong."""
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
    scratch.link_causes[link] = causes if causes else _CONGESTION


@_kernel
def _write_row(plan: Plan, sweep: Sweep, scratch: Scratch, g: int) -> None:
    """Write the results of a group's services, after its capacity has been shared."""
    # Arrays are taken out of the tuples once: in the loop that would cost more than the work.
    required, peak = plan.required, plan.peak
    route_first, codes, service_first = plan.route_first, plan.route_code, plan.service_route_first
    choice, shared, full, left, own = (
        sweep.choice,
        scratch.rate,
        scratch.full,
        scratch.left,
        scratch.link_causes,
    )
    service, rates, downs, causes = sweep.service, sweep.rate, sweep.down, sweep.causes
    slots, seconds, row = sweep.result_slot, sweep.seconds, sweep.row
    n, n_row = sweep.used[N_RESULTS], sweep.used[N_ROWS]
    for k in range(plan.group_service_first[g], plan.group_service_first[g + 1]):
        s = plan.group_service[k]
        service[n] = s
        for d in range(2):
            f = 2 * s + d
            rate = shared[f]
            down = rate < required[f] - _SMALL or rate <= 0.0
            why = 0
            if rate < peak[f] - _SMALL:
                need = required[f] if down and required[f] > 0.0 else peak[f]
                why = _why(
                    route_first,
                    codes[d],
                    full,
                    left,
                    own,
                    service_first[s],
                    service_first[s + 1],
                    choice[s],
                    need,
                    down,
                )
            rates[n, d], downs[n, d], causes[n, d] = np.round(rate * 1e3) / 1e3, down, why
        at, m = _find_result(service, rates, downs, causes, slots, n)
        if m < 0:
            m = n
            slots[at] = n
            seconds[n] = 0.0
            n += 1
        row[n_row] = m
        n_row += 1
    sweep.used[N_RESULTS], sweep.used[N_ROWS] = n, n_row


@_inlined
def _find_result(
    service: NDArray[np.int32],
    rates: _Floats,
    downs: NDArray[np.bool_],
    causes: _Ints,
    slots: NDArray[np.int32],
    n: int,
) -> tuple[int, int]:
    """Slot and number of the result equal to number ``n``; the number is -1 when there is none."""
    mask = slots.size - 1
    at = _result_word(service, rates, downs, causes, n) & mask
    while slots[at] >= 0:
        m = slots[at]
        same = service[m] == service[n]
        for d in range(2):
            same = same and rates[m, d] == rates[n, d] and causes[m, d] == causes[n, d]
            same = same and downs[m, d] == downs[n, d]
        if same:
            return at, int(m)
        at = (at + 1) & mask
    return at, -1


@_inlined
def _result_word(
    service: NDArray[np.int32], rates: _Floats, downs: NDArray[np.bool_], causes: _Ints, n: int
) -> int:
    """Well mixed number of a result's content."""
    mixed = np.uint64(service[n] + 1)
    for d in range(2):
        for part in (np.int64(rates[n, d] * 1e3), causes[n, d] * 2 + downs[n, d]):
            mixed = (mixed ^ np.uint64(part)) * np.uint64(0xBF58476D1CE4E5B9)
            mixed ^= mixed >> np.uint64(29)
    return int(np.int64(mixed >> np.uint64(1)))


@_inlined
def _why(
    route_first: _Ints,
    codes: _Ints,
    full: _Floats,
    left: _Floats,
    own: _Ints,
    route0: int,
    route1: int,
    choice: int,
    need: float,
    down: bool,
) -> int:
    """Why a direction of a service gets less than it should (see ``sim.service`` for the rule)."""
    used = route0 + choice
    if used >= route1:
        return int(_SWITCHING | _too_small(route_first, codes, full, own, used - (route1 - route0), need))
    causes = _too_small(route_first, codes, full, own, used, need)
    if down and route1 > route0 + 1:
        for route in range(route0, route1):
            causes |= _too_small(route_first, codes, full, own, route, need)
    if causes:
        return int(causes)
    for k in range(route_first[used], route_first[used + 1]):
        if left[codes[k]] <= _SMALL:
            causes |= own[codes[k] >> 1]
    return int(causes) if causes else _CONGESTION


@_kernel
def fill_slots(old: Sweep, new: Sweep) -> None:
    """Enter what is in the tables of ``old`` into the empty, larger hash tables of ``new``."""
    mask = new.result_slot.size - 1
    for n in range(new.used[N_RESULTS]):
        at = _result_word(new.service, new.rate, new.down, new.causes, n) & mask
        while new.result_slot[at] >= 0:
            at = (at + 1) & mask
        new.result_slot[at] = n
    for k in range(old.state_row.size):
        if old.state_row[k] >= 0:
            at, _ = _find_state(new, old.state_word[k])
            new.state_word[at] = old.state_word[k]
            new.state_row[at] = old.state_row[k]


@_inlined
def _too_small(first: _Ints, codes: _Ints, full: _Floats, own: _Ints, route: int, need: float) -> int:
    """Causes of the links of a route that could not carry the need even alone."""
    causes = 0
    for k in range(first[route], first[route + 1]):
        if full[codes[k]] < need - _SMALL:
            causes |= own[codes[k] >> 1]
    return int(causes)
