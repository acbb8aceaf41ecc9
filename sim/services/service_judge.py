"""What the services of a group get in one joint state of its hops and routes, and why not more."""

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.kernel import inlined, kernel
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.sharing import share_kernel
from hopyears.sim.services.service_data import SMALL_MBIT_S
from hopyears.sim.services.service_plan import Plan
from hopyears.sim.services.service_tables import EMPTY, N_RESULTS, N_ROWS, Scratch, Sweep, result_slot

_SWITCHING = int(Cause.SWITCHING)
_CONGESTION = int(Cause.CONGESTION)


@kernel
def judge_group(plan: Plan, sweep: Sweep, scratch: Scratch, g: int) -> None:
    """Share the capacity of a group's links and write its row of results."""
    for k in range(plan.groups.links.first[g], plan.groups.links.first[g + 1]):
        _set_link(plan, sweep, scratch, plan.groups.links.item[k])
    _set_demand(plan, sweep, scratch, g)
    n = 0
    n_codes = plan.routes.codes.shape[1]
    for k in range(plan.groups.flows.first[g], plan.groups.flows.first[g + 1]):
        f = plan.groups.flows.item[k]
        s, d = f // 2, f % 2
        scratch.rate[f] = 0.0
        route = plan.routes.of_service[s] + sweep.choice[s]
        if route < plan.routes.of_service[s + 1]:
            scratch.first[f] = plan.routes.first[route] + d * n_codes
            scratch.last[f] = plan.routes.first[route + 1] + d * n_codes
            scratch.flows[n] = f
            n += 1
    asked = plan.flows
    share_kernel(
        scratch.left,
        scratch.first,
        scratch.last,
        plan.routes.codes.reshape(-1),
        scratch.flows[:n],
        scratch.committed,
        scratch.peak,
        asked.priority,
        asked.weight,
        scratch.rate,
        scratch.crossing,
        scratch.pull,
        scratch.active,
    )
    _write_row(plan, sweep, scratch, g)


@inlined
def _set_demand(plan: Plan, sweep: Sweep, scratch: Scratch, g: int) -> None:
    """What the services of a group ask for at the hour of their clocks."""
    for k in range(plan.groups.services.first[g], plan.groups.services.first[g + 1]):
        s = plan.groups.services.item[k]
        share = _share(plan, sweep, s)
        for f in range(2 * s, 2 * s + 2):
            scratch.committed[f] = share * plan.flows.committed_mbit_s[f]
            scratch.peak[f] = share * plan.flows.peak_mbit_s[f]


@inlined
def _share(plan: Plan, sweep: Sweep, s: int) -> float:
    """Share of its rates that a service asks for."""
    clock = plan.clocks.of_service[s]
    return float(plan.clocks.share[plan.clocks.first[clock] + sweep.level[clock]])


@inlined
def _set_link(plan: Plan, sweep: Sweep, scratch: Scratch, link: int) -> None:
    """Capacity of a link, parallel hops added, and its causes: ``CONGESTION`` when nothing is wrong."""
    forward = backward = 0.0
    causes = 0
    for k in range(plan.hops_of_link.first[link], plan.hops_of_link.first[link + 1]):
        hop = plan.hops_of_link.item[k]
        at = plan.hops.first[hop] + sweep.hop_state[hop]
        forward += plan.hops.forward_mbit_s[at]
        backward += plan.hops.backward_mbit_s[at]
        causes |= plan.hops.causes[at]
    scratch.full[2 * link] = scratch.left[2 * link] = forward
    scratch.full[2 * link + 1] = scratch.left[2 * link + 1] = backward
    scratch.link_causes[link] = causes if causes else _CONGESTION


@kernel
def _write_row(plan: Plan, sweep: Sweep, scratch: Scratch, g: int) -> None:
    """Write the results of a group's services, after its capacity has been shared."""
    # Arrays are taken out of the tuples once: in the loop that would cost more than the work.
    required, committed, peak = plan.flows.required_mbit_s, scratch.committed, scratch.peak
    route_first, codes, service_first = plan.routes.first, plan.routes.codes, plan.routes.of_service
    choice, shared, full, left, own = (
        sweep.choice,
        scratch.rate,
        scratch.full,
        scratch.left,
        scratch.link_causes,
    )
    service, rates, downs, causes, shares = sweep.service, sweep.rate, sweep.down, sweep.causes, sweep.share
    result_in, seconds, row = sweep.result_in, sweep.seconds, sweep.row
    n, n_row = sweep.used[N_RESULTS], sweep.used[N_ROWS]
    for k in range(plan.groups.services.first[g], plan.groups.services.first[g + 1]):
        s = plan.groups.services.item[k]
        service[n] = s
        share = shares[n] = _share(plan, sweep, s)
        for d in range(2):
            f = 2 * s + d
            rate = shared[f]
            down = rate < share * required[f] - SMALL_MBIT_S or rate <= SMALL_MBIT_S
            why = 0
            if rate < peak[f] - SMALL_MBIT_S:
                need = peak[f]
                if down and required[f] > 0.0:
                    need = share * required[f]
                elif rate < committed[f] - SMALL_MBIT_S:
                    need = committed[f]
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
        slot = result_slot(result_in, service, rates, downs, causes, shares, n)
        m = result_in[slot]
        if m == EMPTY:
            m = n
            result_in[slot] = n
            seconds[n] = 0.0
            n += 1
        row[n_row] = m
        n_row += 1
    sweep.used[N_RESULTS], sweep.used[N_ROWS] = n, n_row


@inlined
def _why(
    route_first: Ints,
    codes: Ints,
    full: Floats,
    left: Floats,
    own: Ints,
    route0: int,
    route1: int,
    choice: int,
    need: float,
    down: bool,
) -> int:
    """Why a direction of a service gets less than it should (see ``sim.services.service`` for the rule)."""
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
        if left[codes[k]] <= SMALL_MBIT_S:
            causes |= own[codes[k] >> 1]
    return int(causes) if causes else _CONGESTION


@inlined
def _too_small(first: Ints, codes: Ints, full: Floats, own: Ints, route: int, need: float) -> int:
    """Causes of the links of a route that could not carry the need even alone."""
    causes = 0
    for k in range(first[route], first[route + 1]):
        if full[codes[k]] < need - SMALL_MBIT_S:
            causes |= own[codes[k] >> 1]
    return int(causes)
