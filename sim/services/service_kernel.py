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

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import bare_inlined, bare_kernel, kernel
from hopyears.models.basics.search import first_from
from hopyears.sim.services.service_data import LEAST_SHORTFALL_MBIT_S
from hopyears.sim.services.service_judge import judge_group
from hopyears.sim.services.service_plan import Plan
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
    word_slot,
)


@kernel
def run_spans(
    plan: Plan,
    sweep: Sweep,
    shares: Shares,
    touched: Touched,
    spans: Spans,
    time_s: Floats,
    entity: Ints,
    state: Ints,
    start: int,
    record_rates: bool,
    ends: bool,
) -> int:
    """Apply sorted changes (``_run_changes``); sum up spans at the first change after each, or as all end."""
    i = int(start)
    while True:
        n, closed = time_s.size, spans.n_closed[0]
        if closed < spans.edge_s.size:
            n = first_from(time_s, spans.edge_s[closed])
        i = int(
            _run_changes(plan, sweep, shares, touched, time_s[:n], entity[:n], state[:n], i, record_rates)
        )
        if i < n or (n == time_s.size and not (ends and closed < spans.edge_s.size)):
            return i
        _close_span(plan.flows.peak_mbit_s, plan.flows.committed_mbit_s, sweep, spans)


@bare_kernel
def _close_span(peak_mbit_s: Floats, committed_mbit_s: Floats, sweep: Sweep, spans: Spans) -> None:
    """Sum up what each service lacked from the end of the span before to the end of this one."""
    closed = spans.n_closed[0]
    edge_s, lacking = spans.edge_s[closed], spans.lacking[closed]
    for s in range(sweep.current.size):
        _count(sweep, s, edge_s)
    for n in sweep.noted[: sweep.used[N_NOTED]]:
        sweep.is_noted[n] = False
        seconds = sweep.seconds[n] - sweep.counted_s[n]
        sweep.counted_s[n] = sweep.seconds[n]
        s, got, down = sweep.service[n], sweep.rate[n], sweep.down[n]
        share, short = sweep.share[n], False
        for way in range(2):
            rate, peak = got[way], share * peak_mbit_s[2 * s + way]
            if rate < peak - LEAST_SHORTFALL_MBIT_S:
                lacking[s, way, 0] += (peak - rate) * seconds
            if rate < share * committed_mbit_s[2 * s + way] - LEAST_SHORTFALL_MBIT_S:
                short = True
                if not down[way]:
                    lacking[s, way, 1] += seconds
        rate, peak = min(got[0], got[1]), share * min(peak_mbit_s[2 * s], peak_mbit_s[2 * s + 1])
        if rate < peak - LEAST_SHORTFALL_MBIT_S:
            lacking[s, 2, 0] += (peak - rate) * seconds
        if short and not (down[0] or down[1]):
            lacking[s, 2, 1] += seconds
    sweep.used[N_NOTED] = 0
    spans.n_closed[0] = closed + 1


@bare_inlined
def _count(sweep: Sweep, s: int, now: float) -> None:
    """Count the time of a service in its result until now, and note the result for the span."""
    m = sweep.current[s]
    sweep.seconds[m] += now - sweep.since[s]
    sweep.since[s] = now
    if not sweep.is_noted[m]:
        sweep.is_noted[m] = True
        sweep.noted[sweep.used[N_NOTED]] = m
        sweep.used[N_NOTED] += 1


@bare_kernel
def _run_changes(
    plan: Plan,
    sweep: Sweep,
    shares: Shares,
    touched: Touched,
    time_s: Floats,
    entity: Ints,
    state: Ints,
    start: int,
    record_rates: bool,
) -> int:
    """Apply sorted changes from number ``start``; the number of the first one not yet applied.

    Fewer than all are applied when a table is nearly full: enlarge it and call again. Number -1 is the state
    of time 0, in which every group begins.
    """
    hop_state, choice, level, group_word = sweep.hop_state, sweep.choice, sweep.level, sweep.group_word
    key_first, keys = plan.word_first, plan.word
    group_first, groups = plan.groups_of_entity.first, plan.groups_of_entity.item
    some, is_among, links_of_hop = touched.groups, touched.is_among, plan.links_of_hop
    first_link, stale, n_stale, is_stale = plan.groups.links.first, sweep.stale, sweep.n_stale, sweep.is_stale
    n_hops, n_routed = hop_state.size, hop_state.size + choice.size
    i = start
    while i < time_s.size:
        if _crowded(sweep, choice.size):
            return i
        n_touched, now = 0, 0.0 if i < 0 else time_s[i]
        while i < 0 and n_touched < group_word.size:
            some[n_touched] = n_touched
            n_touched += 1
        # All changes of one instant before any group is judged: no state that lasts no time is counted.
        while 0 <= i < time_s.size and time_s[i] == now:
            e, new = entity[i], state[i]
            i += 1
            if e < n_hops:
                old = hop_state[e]
                hop_state[e] = new
            elif e < n_routed:
                old = choice[e - n_hops]
                choice[e - n_hops] = new
            else:
                old = level[e - n_routed]
                level[e - n_routed] = new
            if old == new:
                continue
            word = keys[key_first[e] + old] ^ keys[key_first[e] + new]
            for k in range(group_first[e], group_first[e + 1]):
                g = groups[k]
                if e < n_hops and not is_stale[links_of_hop[k]]:
                    is_stale[links_of_hop[k]] = True
                    stale[first_link[g] + n_stale[g]] = links_of_hop[k]
                    n_stale[g] += 1
                elif e >= n_hops:
                    _turn(plan, sweep, g, e - n_hops if e < n_routed else -1)
                group_word[g] ^= word
                if not is_among[g]:
                    is_among[g] = True
                    some[n_touched] = g
                    n_touched += 1
        for k in range(n_touched):
            is_among[some[k]] = False
            _enter(plan, sweep, shares, some[k], now, record_rates)
        i = max(i, 0)
    return i


@bare_inlined
def _turn(plan: Plan, sweep: Sweep, g: int, service: int) -> None:
    """Note that a service of a group has another route, or all of them (-1) another hour."""
    first, last = plan.groups.services.first[g], plan.groups.services.first[g + 1]
    for at in range(first, first + 1 if service >= 0 else last):
        s = service if service >= 0 else plan.groups.services.item[at]
        if not sweep.is_turned[s]:
            sweep.is_turned[s] = True
            sweep.turned[first + sweep.n_turned[g]] = s
            sweep.n_turned[g] += 1


@bare_inlined
def _crowded(sweep: Sweep, n_services: int) -> bool:
    """Whether the changes of one instant, which may touch every service once, might not fit any more."""
    n_results = sweep.used[N_RESULTS] + n_services
    return bool(
        sweep.used[N_OUT] + n_services > sweep.out_time.size
        or sweep.used[N_ROWS] + ROW_CELLS_A_SERVICE * n_services > sweep.row.size
        or n_results > sweep.service.size
        or 2 * (sweep.used[N_WORDS] + n_services) > sweep.word.size
        or 2 * n_results > sweep.result_in.size
    )


@bare_inlined
def _enter(plan: Plan, sweep: Sweep, shares: Shares, g: int, now: float, record_rates: bool) -> None:
    """Move the services of a group to the results of its joint state."""
    word = sweep.group_word[g]
    slot = word_slot(sweep.word, sweep.row_of, word)
    row = sweep.row_of[slot]
    if row == EMPTY:
        row = sweep.used[N_ROWS]
        sweep.word[slot], sweep.row_of[slot] = word, row
        sweep.used[N_WORDS] += 1
        judge_group(plan, sweep, shares, g)
    old = sweep.group_row[g]
    if row == old:
        return
    sweep.group_row[g] = row
    rows, usual, mark = sweep.row, sweep.usual, sweep.mark
    for k in range(row + 1, row + 1 + rows[row], 2):
        mark[rows[k]] = row
        _move(sweep, int(rows[k]), int(rows[k + 1]), now, record_rates)
    if old >= 0:
        for k in range(old + 1, old + 1 + rows[old], 2):
            if mark[rows[k]] != row:
                _move(sweep, int(rows[k]), int(usual[rows[k]]), now, record_rates)
        return
    for s in plan.groups.services.item[plan.groups.services.first[g] : plan.groups.services.first[g + 1]]:
        if mark[s] != row:
            _move(sweep, s, int(usual[s]), now, record_rates)


@bare_inlined
def _move(sweep: Sweep, s: int, new: int, now: float, record_rates: bool) -> None:
    """Give a service another result."""
    old = sweep.current[s]
    if old == new:
        return
    if old >= 0:
        _count(sweep, s, now)
    sweep.current[s] = new
    sweep.since[s] = now
    # Another rate alone moves no outage: its seconds are counted above, and the history stays short.
    if record_rates or old < 0 or _differs(sweep.down, sweep.causes, old, new):
        n = sweep.used[N_OUT]
        sweep.out_time[n], sweep.out_service[n], sweep.out_result[n] = now, s, new
        sweep.used[N_OUT] = n + 1


@bare_inlined
def _differs(down: Bools, causes: Ints, a: int, b: int) -> bool:
    """Whether two results differ in being down or in the causes of it."""
    for d in range(2):
        if down[a, d] != down[b, d]:
            return True
        if down[a, d] and causes[a, d] != causes[b, d]:
            return True
    return False
