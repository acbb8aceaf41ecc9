"""Capacity shared among the services of a group, anew only for those whom a change reaches.

The rule is that of ``models.judging.sharing``, in *turns*: the committed rates of each priority, then what
each asks beyond. A link direction is *spent* in a turn when nothing is left of it; its *level* is then the
most that anybody has of it, in units of weights. A flow is *content* with what it asks for, or where a link
on its way is spent and nobody there stands higher. When all are content the turn is shared max-min fair, and
there is one way only to do so. So when something has changed a turn is filled again for those who are not
content, all others as they were, and for more of them until all are content.

Helpers are inlined: a call hands over every array of a tuple, which costs more than most of them do.

References
----------
D. Bertsekas and R. Gallager, Data Networks, 2nd edition (1992), section 6.5.2: max-min fair if and only if
each has a bottleneck (from memory; the search for those whom a change reaches is our own).
"""

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import bare_inlined
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.sharing import fill_kernel
from hopyears.sim.services.service_data import LEAST_SHORTFALL_MBIT_S, SMALL_MBIT_S
from hopyears.sim.services.service_plan import Plan
from hopyears.sim.services.service_tables import NOWHERE, Shares, Sweep

CONGESTION = int(Cause.CONGESTION)

HAIR_MBIT_S, SAME_MBIT_S = 1e-7, 1e-9
"""What counts as nothing where somebody may lack it; what is but rounding in what somebody gets."""


@bare_inlined
def share_again(plan: Plan, sweep: Sweep, shares: Shares, g: int) -> int:
    """Bring a group up to its joint state; the first so many of ``shares.stirred`` may have other results."""
    n_stirred, n_dirty = _changed_links(plan, sweep, shares, g)
    n_stirred, n_dirty = _changed_services(plan, sweep, shares, g, n_stirred, n_dirty)
    n_changed = n_dirty
    for turn in range(shares.level.shape[1]):
        n_dirty, n_stirred = _take_turn(plan, shares, turn, n_changed, n_dirty, n_stirred)
    crossing_first, crossing = plan.crossing.first, plan.crossing.item
    n_turns, n_classes = shares.level.shape[1], plan.class_first.shape[1] - 1
    for k in range(n_dirty):
        code = shares.dirty[k]
        shares.is_dirty[code] = False
        for excess in range(n_turns // n_classes):
            last = n_classes * (excess + 1) - 1
            left = max(shares.before[code, last] - shares.taken[code, last], 0.0)
            full = shares.full[code] < plan.enough[code] and left <= SMALL_MBIT_S
            if full == shares.is_full[excess, code]:
                continue
            shares.is_full[excess, code] = full
            for place in range(crossing_first[code >> 1], crossing_first[(code >> 1) + 1]):
                if shares.way[place] != NOWHERE:
                    n_stirred = _put(shares.stirred, shares.is_stirred, crossing[place], n_stirred)
    for k in range(n_stirred):
        shares.is_stirred[shares.stirred[k]] = False
    return int(n_stirred)


@bare_inlined
def _put(some: Ints, is_among: Bools, number: int, n: int) -> int:
    """Put a number among the first ``n`` of some, unless it is there; how many they are then."""
    if is_among[number]:
        return n
    is_among[number] = True
    some[n] = number
    return n + 1


@bare_inlined
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


@bare_inlined
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


@bare_inlined
def _changed_services(
    plan: Plan, sweep: Sweep, shares: Shares, g: int, n_stirred: int, n_dirty: int
) -> tuple[int, int]:
    """Note services of a group with another route or demand than last time; they have nothing yet."""
    of_service, begin = plan.routes.of_service, plan.groups.services.first[g]
    choice, seen_choice, seen_share = sweep.choice, shares.seen_choice, shares.seen_share
    clock, first, asked, level = plan.clocks.of_service, plan.clocks.first, plan.clocks.share, sweep.level
    for s in sweep.turned[begin : begin + sweep.n_turned[g]]:
        sweep.is_turned[s] = False
        share = asked[first[clock[s]] + level[clock[s]]]
        if seen_choice[s] == choice[s] and seen_share[s] == share:
            continue
        n_dirty = _stand(plan, shares, s, False, n_dirty)
        seen_choice[s], seen_share[s] = choice[s], share
        n_dirty = _stand(plan, shares, s, True, n_dirty)
        for f in range(2 * s, 2 * s + 2):
            moves = choice[s] >= of_service[s + 1] - of_service[s]
            shares.most[0, f] = 0.0 if moves else share * plan.flows.committed_mbit_s[f]
            shares.peak[f] = shares.most[1, f] = 0.0 if moves else share * plan.flows.peak_mbit_s[f]
            shares.got[0, f] = shares.got[1, f] = 0.0
        n_stirred = _put(shares.stirred, shares.is_stirred, s, n_stirred)
    sweep.n_turned[g] = 0
    return n_stirred, n_dirty


@bare_inlined
def _route(plan: Plan, shares: Shares, s: int) -> tuple[int, int]:
    """First and last place in the codes of the route in use; alike where there is none."""
    route = plan.routes.of_service[s] + shares.seen_choice[s]
    if shares.seen_choice[s] < 0 or route >= plan.routes.of_service[s + 1]:
        return 0, 0
    return int(plan.routes.first[route]), int(plan.routes.first[route + 1])


@bare_inlined
def _stand(plan: Plan, shares: Shares, s: int, stands: bool, n_dirty: int) -> int:
    """Put a service on the links of its route, or take it off."""
    first, last = _route(plan, shares, s)
    for k in range(first, last):
        code = plan.routes.codes[0, k]
        shares.way[plan.place[k]] = code & 1 if stands else NOWHERE
        n_dirty = _put(shares.dirty, shares.is_dirty, code, n_dirty)
        n_dirty = _put(shares.dirty, shares.is_dirty, code ^ 1, n_dirty)
    return n_dirty


@bare_inlined
def _flow(crossing: Ints, way: NDArray[np.int8], place: int, code: int) -> int:
    """The flow of a service that takes a direction of a link on which it stands."""
    return int(2 * crossing[place] + (way[place] ^ (code & 1)))


@bare_inlined
def _take_turn(
    plan: Plan, shares: Shares, turn: int, n_changed: int, n_dirty: int, n_stirred: int
) -> tuple[int, int]:
    """Share what is left before a turn among those not content; more link directions are dirty then."""
    n_classes = plan.class_first.shape[1] - 1
    excess, of_class = turn // n_classes, turn % n_classes
    got, most, before, taken = shares.got[excess], shares.most[excess], shares.before, shares.taken
    n_seen = n = n_met = n_codes = 0
    for k in range(n_dirty):
        code = shares.dirty[k]
        left = shares.full[code] if shares.full[code] < plan.enough[code] else np.inf
        if turn:
            left = max(before[code, turn - 1] - taken[code, turn - 1], 0.0)
        if k >= n_changed and left == before[code, turn]:
            continue
        before[code, turn] = left
        if k < n_changed and left < np.inf:
            taken[code, turn] = _in_all(plan, shares, code, of_class, got)
        n_seen = _put(shares.seen, shares.is_seen, code, n_seen)
        shares.free[code] = left - taken[code, turn]
        if shares.free[code] < -HAIR_MBIT_S:
            n = _want_highest(plan, shares, code, of_class, got, left, n)
    for k in range(n_stirred):
        s = shares.stirred[k]
        if plan.priority_class[s] == of_class:
            for f in range(2 * s, 2 * s + 2):
                if got[f] > most[f] or not _is_content(plan, shares, f, turn, got[f], most[f]):
                    n = _put(shares.wanted, shares.is_wanted, f, n)
    while n_met < n or n_met == 0:
        for f in shares.wanted[n_met:n]:
            n_seen, n_codes = _join(plan, shares, f, turn, got[f], n_seen, n_codes)
        n_met = n
        _fill(plan, shares, n, n_seen, most)
        n = _who_else(plan, shares, turn, of_class, n, n_seen, got, most)
        if n == 0:
            break
    for k in range(n_seen):
        shares.is_seen[shares.seen[k]] = False
    n_seen = 0
    for f in shares.wanted[:n]:
        shares.is_wanted[f] = False
        if abs(got[f] - shares.work[f]) <= SAME_MBIT_S:
            continue
        if plan.rates_told or _standing(plan, shares, f, got[f]) != _standing(
            plan, shares, f, shares.work[f]
        ):
            n_stirred = _put(shares.stirred, shares.is_stirred, f // 2, n_stirred)
        got[f] = shares.work[f]
        if not excess:
            shares.most[1, f] = max(shares.peak[f] - got[f], 0.0)
        for code in shares.codes[shares.first[f] : shares.last[f]]:
            n_dirty = _put(shares.dirty, shares.is_dirty, code, n_dirty)
            n_seen = _put(shares.seen, shares.is_seen, code, n_seen)
    for k in range(n_seen):
        code = shares.seen[k]
        shares.is_seen[code] = False
        taken[code, turn] = _in_all(plan, shares, code, of_class, got)
    return n_dirty, n_stirred


@bare_inlined
def _standing(plan: Plan, shares: Shares, f: int, has: float) -> int:
    """0 with its committed rate, 1 with less, 2 when down."""
    share = shares.seen_share[f // 2]
    if is_down(share * plan.flows.required_mbit_s[f], has):
        return 2
    return 0 if has_enough(share * plan.flows.committed_mbit_s[f], has) else 1


@bare_inlined
def is_down(required_mbit_s: float, rate_mbit_s: float) -> bool:
    """Whether a direction is down with a rate."""
    return rate_mbit_s < required_mbit_s - SMALL_MBIT_S or rate_mbit_s <= SMALL_MBIT_S


@bare_inlined
def told_mbit_s(rate_mbit_s: float) -> float:
    """A rate to the nearest kbit/s; the hair decides between two as near, which rounding must not do."""
    return float(np.round(rate_mbit_s * 1e3 + 1e-4) / 1e3)


@bare_inlined
def has_enough(committed_mbit_s: float, rate_mbit_s: float) -> bool:
    """Whether a rate, as it is told, is a committed one."""
    return bool(told_mbit_s(rate_mbit_s) >= committed_mbit_s - LEAST_SHORTFALL_MBIT_S)


@bare_inlined
def _in_all(plan: Plan, shares: Shares, code: int, of_class: int, got: Floats) -> float:
    """Sum of what those who stand on a link direction have got in a turn."""
    total, link = 0.0, code >> 1
    for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
        if shares.way[place] != NOWHERE:
            total += got[_flow(plan.crossing.item, shares.way, place, code)]
    return total


@bare_inlined
def _want_highest(
    plan: Plan, shares: Shares, code: int, of_class: int, got: Floats, left: float, n: int
) -> int:
    """Want those who stand above the level at which a link direction suffices for all who are on it."""
    weight, link, level, higher = plan.flows.weight, code >> 1, -1.0, 0.0
    begin, end = plan.class_first[link, of_class], plan.class_first[link, of_class + 1]
    while higher > level:
        level, rest, pull = higher, left, 0.0
        for place in range(begin, end):
            if shares.way[place] != NOWHERE:
                f = _flow(plan.crossing.item, shares.way, place, code)
                if got[f] > weight[f] * level:
                    pull += weight[f]
                else:
                    rest -= got[f]
        higher = rest / pull if pull > 0.0 else level
    for place in range(begin, end):
        if shares.way[place] != NOWHERE:
            f = _flow(plan.crossing.item, shares.way, place, code)
            if got[f] > weight[f] * level:
                n = _put(shares.wanted, shares.is_wanted, f, n)
    return n


@bare_inlined
def _is_content(plan: Plan, shares: Shares, f: int, turn: int, has: float, most: float) -> bool:
    """Whether a flow has all that it asks for, or stands highest on a spent link direction of its way."""
    if has >= most - HAIR_MBIT_S:
        return True
    first, last = _route(plan, shares, f // 2)
    for code in plan.routes.codes[f % 2, first:last]:
        if has >= plan.flows.weight[f] * shares.level[code, turn] - HAIR_MBIT_S:
            return True
    return False


@bare_inlined
def _join(
    plan: Plan, shares: Shares, f: int, turn: int, has: float, n_seen: int, n_codes: int
) -> tuple[int, int]:
    """Have a flow share anew: what it has is free for all who do."""
    shares.first[f] = n_codes
    first, last = _route(plan, shares, f // 2)
    for code in plan.routes.codes[f % 2, first:last]:
        if shares.before[code, turn] == np.inf:
            continue
        if not shares.is_seen[code]:
            shares.free[code] = shares.before[code, turn] - shares.taken[code, turn]
            n_seen = _put(shares.seen, shares.is_seen, code, n_seen)
        shares.free[code] += has
        shares.codes[n_codes] = code
        n_codes += 1
    shares.last[f] = n_codes
    return n_seen, n_codes


@bare_inlined
def _fill(plan: Plan, shares: Shares, n: int, n_seen: int, most: Floats) -> None:
    """What those who share anew get, in ``shares.work``, and what is left then, in ``shares.room``."""
    for code in shares.seen[:n_seen]:
        shares.room[code] = shares.free[code]
    for f in shares.wanted[:n]:
        shares.work[f] = 0.0
    fill_kernel(
        shares.room,
        shares.first,
        shares.last,
        shares.codes,
        shares.wanted[:n],
        most,
        plan.flows.weight,
        shares.work,
        shares.crossing,
        shares.pull,
        shares.active,
        shares.busy,
    )


@bare_inlined
def _who_else(
    plan: Plan, shares: Shares, turn: int, of_class: int, n: int, n_seen: int, got: Floats, most: Floats
) -> int:
    """Want those who are not content any more, and those who keep others from being so."""
    weight, level, was, lowest, n_met = plan.flows.weight, shares.level, shares.was, shares.lowest, n
    for code in shares.seen[:n_seen]:
        was[code], lowest[code] = level[code, turn], np.inf
        level[code, turn] = np.inf
        if shares.room[code] <= HAIR_MBIT_S:
            level[code, turn] = 0.0
            link = code >> 1
            for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
                if shares.way[place] != NOWHERE:
                    f = _flow(plan.crossing.item, shares.way, place, code)
                    has = shares.work[f] if shares.is_wanted[f] else got[f]
                    level[code, turn] = max(level[code, turn], has / weight[f])
    for code in shares.seen[:n_seen]:
        if level[code, turn] > was[code]:
            link = code >> 1
            for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
                if shares.way[place] != NOWHERE:
                    f = _flow(plan.crossing.item, shares.way, place, code)
                    if (
                        got[f] >= weight[f] * was[code] - 2.0 * HAIR_MBIT_S
                        and not shares.is_wanted[f]
                        and not _is_content(plan, shares, f, turn, got[f], most[f])
                    ):
                        n = _put(shares.wanted, shares.is_wanted, f, n)
    for k in range(n_met):
        f = shares.wanted[k]
        has = shares.work[f]
        if not _is_content(plan, shares, f, turn, has, most[f]):
            for code in shares.codes[shares.first[f] : shares.last[f]]:
                lowest[code] = min(lowest[code], (has + HAIR_MBIT_S) / weight[f])
    for code in shares.seen[:n_seen]:
        if level[code, turn] < np.inf and lowest[code] < np.inf:
            link = code >> 1
            for place in range(plan.class_first[link, of_class], plan.class_first[link, of_class + 1]):
                if shares.way[place] != NOWHERE:
                    f = _flow(plan.crossing.item, shares.way, place, code)
                    if got[f] > lowest[code] * weight[f]:
                        n = _put(shares.wanted, shares.is_wanted, f, n)
    return n
