"""Capacity shared among the services of a group, anew only where it may be another than last time.

The rule is that of ``models.judging.sharing``, in *turns*: the committed rates of each priority, then what
each asks beyond. In a turn a link direction *fits* when all may take what they ask, is *taken* when nothing
is left, else it *binds* those who stand on it together. A turn is taken again by whoever has another route or
demand, by those who stand where something else is left than before and not all fit, and by all whom links
that bind join with them. So what anybody gets follows from the state alone, not from how it came about.

Helpers are inlined: a call hands over every array of a tuple, which costs more than most of them do.
"""

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import inlined, inner_kernel
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.sharing import TOLERANCE, fill_kernel
from hopyears.sim.services.service_data import SMALL_MBIT_S
from hopyears.sim.services.service_plan import Plan
from hopyears.sim.services.service_tables import NOWHERE, Shares, Sweep

CONGESTION = int(Cause.CONGESTION)

_FITS, _BINDS, _TAKEN, _OTHER = range(4)
"""States of a link direction in a turn; the last: what is asked for there is another than last time."""


@inlined
def share_again(plan: Plan, sweep: Sweep, shares: Shares, g: int) -> int:
    """Bring a group up to its joint state; the first so many of ``shares.stirred`` may have other results."""
    n_stirred, n_dirty = _changed_links(plan, sweep, shares, g)
    n_stirred, n_dirty, n_fresh = _changed_services(plan, sweep, shares, g, n_stirred, n_dirty)
    n_changed = n_dirty
    for turn in range(shares.state.shape[1]):
        n_dirty, n_stirred = _take_turn(plan, shares, turn, n_changed, n_dirty, n_fresh, n_stirred)
    crossing_first, crossing = plan.crossing.first, plan.crossing.item
    for k in range(n_dirty):
        code = shares.dirty[k]
        shares.is_dirty[code] = False
        left = max(shares.before[code, -1] - shares.taken[code, -1], 0.0)
        full = shares.full[code] < plan.enough[code] and left <= SMALL_MBIT_S
        if full != shares.is_full[code]:
            shares.is_full[code] = full
            for place in range(crossing_first[code >> 1], crossing_first[(code >> 1) + 1]):
                if shares.way[place] != NOWHERE:
                    n_stirred = _put(shares.stirred, shares.is_stirred, crossing[place], n_stirred)
    for k in range(n_stirred):
        shares.is_stirred[shares.stirred[k]] = False
    return int(n_stirred)


@inlined
def _put(some: Ints, is_among: Bools, number: int, n: int) -> int:
    """Put a number among the first ``n`` of some, unless it is there; how many they are then."""
    if is_among[number]:
        return n
    is_among[number] = True
    some[n] = number
    return n + 1


@inlined
def _changed_links(plan: Plan, sweep: Sweep, shares: Shares, g: int) -> tuple[int, int]:
    """Note links of a group that are others than last time, and all who may cross them."""
    crossing_first, crossing, full = plan.crossing.first, plan.crossing.item, shares.full
    begin, n_stirred, n_dirty = plan.groups.links.first[g], 0, 0
    for link in sweep.stale[begin : begin + sweep.n_stale[g]]:
        sweep.is_stale[link] = False
        forward, backward, causes = _link(plan, sweep, link)
        if forward != full[2 * link] or backward != full[2 * link + 1]:
            full[2 * link], full[2 * link + 1] = forward, backward
            for code in range(2 * link, 2 * link + 2):
                n_dirty = _put(shares.dirty, shares.is_dirty, code, n_dirty)
        elif causes == shares.link_causes[link]:
            continue
        shares.link_causes[link] = causes
        for place in range(crossing_first[link], crossing_first[link + 1]):
            n_stirred = _put(shares.stirred, shares.is_stirred, crossing[place], n_stirred)
    sweep.n_stale[g] = 0
    return n_stirred, n_dirty


@inlined
def _link(plan: Plan, sweep: Sweep, link: int) -> tuple[float, float, int]:
    """Capacity of a link, parallel hops added, and its causes: ``CONGESTION`` when nothing is wrong."""
    forward = backward = 0.0
    causes = 0
    for k in range(plan.hops_of_link.first[link], plan.hops_of_link.first[link + 1]):
        hop = plan.hops_of_link.item[k]
        at = plan.hops.first[hop] + sweep.hop_state[hop]
        forward += plan.hops.forward_mbit_s[at]
        backward += plan.hops.backward_mbit_s[at]
        causes |= plan.hops.causes[at]
    return forward, backward, causes if causes else CONGESTION


@inlined
def _changed_services(
    plan: Plan, sweep: Sweep, shares: Shares, g: int, n_stirred: int, n_dirty: int
) -> tuple[int, int, int]:
    """Note services of a group with another route or demand than last time, the first of ``shares.fresh``."""
    of_service, services, n_fresh = plan.routes.of_service, plan.groups.services.item, 0
    choice, seen_choice, seen_share = sweep.choice, shares.seen_choice, shares.seen_share
    clock, first, asked, level = plan.clocks.of_service, plan.clocks.first, plan.clocks.share, sweep.level
    for at in range(plan.groups.services.first[g], plan.groups.services.first[g + 1]):
        s = services[at]
        share = asked[first[clock[s]] + level[clock[s]]]
        if seen_choice[s] == choice[s] and seen_share[s] == share:
            continue
        n_dirty = _stand(plan, shares, s, False, n_dirty)
        seen_choice[s], seen_share[s] = choice[s], share
        n_dirty = _stand(plan, shares, s, True, n_dirty)
        for f in range(2 * s, 2 * s + 2):
            shares.committed[f] = share * plan.flows.committed_mbit_s[f]
            shares.peak[f] = share * plan.flows.peak_mbit_s[f]
            if choice[s] >= of_service[s + 1] - of_service[s]:
                shares.committed[f] = shares.peak[f] = 0.0  # while it changes route
        shares.fresh[n_fresh] = s
        n_fresh += 1
        n_stirred = _put(shares.stirred, shares.is_stirred, s, n_stirred)
    return n_stirred, n_dirty, n_fresh


@inlined
def _route(plan: Plan, shares: Shares, s: int) -> tuple[int, int]:
    """First and last place in the codes of the route in use; alike where there is none."""
    route = plan.routes.of_service[s] + shares.seen_choice[s]
    if shares.seen_choice[s] < 0 or route >= plan.routes.of_service[s + 1]:
        return 0, 0
    return int(plan.routes.first[route]), int(plan.routes.first[route + 1])


@inlined
def _stand(plan: Plan, shares: Shares, s: int, stands: bool, n_dirty: int) -> int:
    """Put a service on the links of its route, or take it off."""
    first, last = _route(plan, shares, s)
    for k in range(first, last):
        code = plan.routes.codes[0, k]
        shares.way[plan.place[k]] = code & 1 if stands else NOWHERE
        n_dirty = _put(shares.dirty, shares.is_dirty, code, n_dirty)
        n_dirty = _put(shares.dirty, shares.is_dirty, code ^ 1, n_dirty)
    return n_dirty


@inlined
def _flow(crossing: Ints, way: NDArray[np.int8], place: int, code: int) -> int:
    """The flow of a service that takes a direction of a link on which it stands."""
    return int(2 * crossing[place] + (way[place] ^ (code & 1)))


@inlined
def _take_turn(
    plan: Plan, shares: Shares, turn: int, n_changed: int, n_dirty: int, n_fresh: int, n_stirred: int
) -> tuple[int, int]:
    """Share what is left before a turn among those who take it; more link directions are dirty afterwards."""
    n_classes = shares.state.shape[1] // 2
    excess, of_class = turn >= n_classes, turn % n_classes
    wanted, is_wanted, n = shares.wanted, shares.is_wanted, 0
    for k in range(n_dirty):
        code = shares.dirty[k]
        if k < n_changed and not excess:
            _ask(plan, shares, code, turn, of_class)
        if not _is_other(plan, shares, code, turn, k < n_changed):
            continue
        link = code >> 1
        for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
            if shares.way[place] != NOWHERE:
                f = _flow(plan.crossing.item, shares.way, place, code)
                n = _put(wanted, is_wanted, f, n)
    for k in range(n_fresh):
        if plan.priority_class[shares.fresh[k]] == of_class:
            for f in range(2 * shares.fresh[k], 2 * shares.fresh[k] + 2):
                n = _put(wanted, is_wanted, f, n)
    begin = n_seen = k = 0
    work, given, limit = shares.work, shares.given, shares.peak if excess else shares.committed
    while k < n:
        f = wanted[k]
        if not shares.is_met[f]:
            n_before = n_seen
            end, n_seen, n = _meet(plan, shares, f, turn, of_class, begin, n_seen, n)
            if n_seen > n_before:
                _fill(plan, shares, turn, excess, begin, end)
            elif shares.is_free[f, int(excess)]:
                work[f] = limit[f]
            else:
                work[f] = given[f] if excess else 0.0
            begin = end
        k += 1
    for k in range(n):
        is_wanted[wanted[k]] = False
    for k in range(n_seen):
        shares.is_seen[shares.seen[k]] = False
    n_count = 0
    for k in range(n_changed):
        n_count = _put(shares.seen, shares.is_seen, shares.dirty[k], n_count)
    for k in range(begin):
        f = shares.met[k]
        shares.is_met[f] = False
        own = shares.rate if excess else shares.given
        if own[f] == shares.work[f]:
            continue
        own[f] = shares.work[f]
        if excess:
            n_stirred = _put(shares.stirred, shares.is_stirred, f // 2, n_stirred)
        first, last = _route(plan, shares, f // 2)
        for at in range(first, last):
            code = plan.routes.codes[f % 2, at]
            if shares.full[code] < plan.enough[code]:
                n_dirty = _put(shares.dirty, shares.is_dirty, code, n_dirty)
                n_count = _put(shares.seen, shares.is_seen, code, n_count)
    for k in range(n_count):
        shares.is_seen[shares.seen[k]] = False
        _count(plan, shares, shares.seen[k], turn, of_class)
        if not excess:
            _ask(plan, shares, shares.seen[k], turn + n_classes, of_class)
    return n_dirty, n_stirred


@inlined
def _want_others(plan: Plan, shares: Shares, f: int, turn: int, of_class: int, n: int) -> int:
    """Have those take the turn again whom a link binds with a flow that has nothing to take any more."""
    first, last = _route(plan, shares, f // 2)
    for k in range(first, last):
        code = plan.routes.codes[f % 2, k]
        if shares.state[code, turn] != _BINDS:
            continue
        link = code >> 1
        for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
            if shares.way[place] != NOWHERE:
                other = _flow(plan.crossing.item, shares.way, place, code)
                n = _put(shares.wanted, shares.is_wanted, other, n)
    return n


@inlined
def _ask(plan: Plan, shares: Shares, code: int, turn: int, of_class: int) -> None:
    """What is asked of a link direction in a turn."""
    if shares.full[code] >= plan.enough[code]:
        return
    shares.asked[code, turn] = _in_all(plan, shares, code, turn, of_class, shares.committed, shares.peak)
    if turn != of_class:
        shares.state[code, turn] = _OTHER


@inlined
def _is_other(plan: Plan, shares: Shares, code: int, turn: int, changed: bool) -> bool:
    """See whether a link direction fits, binds or is taken in a turn; whether that is new."""
    old = shares.state[code, turn]
    if shares.full[code] >= plan.enough[code]:
        shares.state[code, turn] = _FITS
        return bool(old != _FITS)
    left, known = shares.full[code], shares.before[code, turn]
    if turn:
        left = max(shares.before[code, turn - 1] - shares.taken[code, turn - 1], 0.0)
    shares.before[code, turn] = left
    if left >= shares.asked[code, turn]:
        state = _FITS
    else:
        state = _TAKEN if left <= TOLERANCE * shares.full[code] else _BINDS
    shares.state[code, turn] = state
    return bool(state != old or (state == _BINDS and (changed or left != known)))


@inlined
def _count(plan: Plan, shares: Shares, code: int, turn: int, of_class: int) -> None:
    """What is taken of a link direction in a turn."""
    if shares.full[code] >= plan.enough[code]:
        return
    shares.taken[code, turn] = _in_all(plan, shares, code, turn, of_class, shares.given, shares.rate)


@inlined
def _in_all(
    plan: Plan, shares: Shares, code: int, turn: int, of_class: int, first: Floats, last: Floats
) -> float:
    """Sum over who stands on a link direction: of the first, or of the last beyond what is given."""
    total, link = 0.0, code >> 1
    for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
        if shares.way[place] != NOWHERE:
            f = _flow(plan.crossing.item, shares.way, place, code)
            total += first[f] if turn == of_class else last[f] - shares.given[f]
    return total


@inlined
def _meet(
    plan: Plan, shares: Shares, f: int, turn: int, of_class: int, begin: int, n_seen: int, n: int
) -> tuple[int, int, int]:
    """Meet a flow and all that links which bind join with it in a turn; where they end.

    Who meets nobody any more, since a link on the way is taken, has those wanted whom links bound to it.
    """
    met, is_met, state, codes = shares.met, shares.is_met, shares.state, plan.routes.codes
    is_free = shares.is_free[:, int(turn != of_class)]
    met[begin] = f
    is_met[f] = True
    i, end = begin, begin + 1
    while i < end:
        d = met[i] % 2
        first, last = _route(plan, shares, met[i] // 2)
        was_free = is_free[met[i]]
        is_free[met[i]] = True
        for k in range(first, last):
            if state[codes[d, k], turn] == _TAKEN:
                is_free[met[i]] = False
        if is_free[met[i]]:
            for k in range(first, last):
                code = codes[d, k]
                if state[code, turn] != _BINDS or shares.is_seen[code]:
                    continue
                n_seen = _put(shares.seen, shares.is_seen, code, n_seen)
                link = code >> 1
                for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
                    if shares.way[place] != NOWHERE:
                        end = _put(met, is_met, _flow(plan.crossing.item, shares.way, place, code), end)
        elif was_free:
            n = _want_others(plan, shares, met[i], turn, of_class, n)
        i += 1
    return end, n_seen, n


@inner_kernel
def _sort_by_rank(flows: Ints, begin: int, end: int, rank: Ints) -> None:
    """Put flows from one place to another in the order in which they are served (Shell's sort)."""
    gap = end - begin
    while gap > 1:
        gap = gap * 5 // 11 if gap > 4 else 1
        for i in range(begin + gap, end):
            f, k = flows[i], i
            own = 2 * rank[f // 2] + f % 2
            while k >= begin + gap and 2 * rank[flows[k - gap] // 2] + flows[k - gap] % 2 > own:
                flows[k] = flows[k - gap]
                k -= gap
            flows[k] = f


@inlined
def _fill(plan: Plan, shares: Shares, turn: int, excess: bool, begin: int, end: int) -> None:
    """What flows that have met get in a turn, in ``shares.work``."""
    n = n_codes = 0
    # In one order, however they met: sums are then the same to the last bit.
    _sort_by_rank(shares.met, begin, end, plan.rank)
    for f in shares.met[begin:end]:
        shares.work[f] = shares.given[f] if excess else 0.0
        if not shares.is_free[f, int(excess)]:
            continue
        shares.first[f] = n_codes
        first, last = _route(plan, shares, f // 2)
        for k in range(first, last):
            code = plan.routes.codes[f % 2, k]
            if shares.state[code, turn] == _BINDS:
                shares.codes[n_codes] = code
                shares.room[code] = shares.before[code, turn]
                n_codes += 1
        shares.last[f] = n_codes
        shares.flows[n] = f
        n += 1
    fill_kernel(
        shares.room,
        shares.first,
        shares.last,
        shares.codes,
        shares.flows[:n],
        shares.peak if excess else shares.committed,
        plan.flows.weight,
        shares.work,
        shares.crossing,
        shares.pull,
        shares.active,
    )
