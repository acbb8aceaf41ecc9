"""What the services of a group get in one joint state of its hops and routes, and why not more."""

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import bare_inlined, bare_kernel
from hopyears.models.judging.cause import Cause
from hopyears.sim.services.service_data import SMALL_MBIT_S
from hopyears.sim.services.service_plan import Plan
from hopyears.sim.services.service_shares import CONGESTION, has_enough, is_down, share_again, told_mbit_s
from hopyears.sim.services.service_tables import EMPTY, N_RESULTS, N_ROWS, Shares, Sweep, result_slot

_SWITCHING = int(Cause.SWITCHING)


@bare_kernel
def judge_group(plan: Plan, sweep: Sweep, shares: Shares, g: int) -> None:
    """Share the capacity of a group's links and write its row of results."""
    _judge_services(plan, sweep, shares, share_again(plan, sweep, shares, g))
    usual, result, row, begin = sweep.usual, shares.result, sweep.row, sweep.used[N_ROWS]
    n = begin + 1
    for s in plan.groups.services.item[plan.groups.services.first[g] : plan.groups.services.first[g + 1]]:
        if usual[s] == EMPTY:
            usual[s] = result[s]
        if usual[s] != result[s]:
            row[n], row[n + 1] = s, result[s]
            n += 2
    row[begin] = n - begin - 1
    sweep.used[N_ROWS] = n


@bare_inlined
def _judge_services(plan: Plan, sweep: Sweep, shares: Shares, n_stirred: int) -> None:
    """Find the results of services that may have others, after capacity has been shared."""
    # Arrays are taken out of the tuples once: in the loop that would cost more than the work.
    required, committed, peak = (
        plan.flows.required_mbit_s,
        plan.flows.committed_mbit_s,
        plan.flows.peak_mbit_s,
    )
    route_first, codes, service_first = plan.routes.first, plan.routes.codes, plan.routes.of_service
    choice, got, own = sweep.choice, shares.got, shares.link_causes
    full, is_full, asks = shares.full, shares.is_full, shares.seen_share
    service, rates, downs, causes, asked = sweep.service, sweep.rate, sweep.down, sweep.causes, sweep.share
    result_in, seconds, told = sweep.result_in, sweep.seconds, plan.rates_told
    n = sweep.used[N_RESULTS]
    for s in shares.stirred[:n_stirred]:
        service[n] = s
        share = asked[n] = asks[s]
        for d in range(2):
            f = 2 * s + d
            rate = got[0, f] + got[1, f]
            down = is_down(share * required[f], rate)
            why = 0
            if rate < share * peak[f] - SMALL_MBIT_S and (down or told):
                need, spent = share * peak[f], is_full[1]
                if down and required[f] > 0.0:
                    need, spent = share * required[f], is_full[0]
                elif rate < share * committed[f] - SMALL_MBIT_S:
                    need, spent = share * committed[f], is_full[0]
                why = _why(
                    route_first,
                    codes[d],
                    full,
                    spent,
                    own,
                    service_first[s],
                    service_first[s + 1],
                    choice[s],
                    need,
                    down,
                )
            rates[n, d], downs[n, d], causes[n, d] = told_mbit_s(rate), down, why
            if not told:  # fewer results, and so far fewer services whose result a change alters
                rates[n, d] = share * committed[f] if has_enough(share * committed[f], rate) else 0.0
        slot = result_slot(result_in, service, rates, downs, causes, asked, n)
        m = result_in[slot]
        if m == EMPTY:
            m = n
            result_in[slot] = n
            seconds[n] = 0.0
            n += 1
        shares.result[s] = m
    sweep.used[N_RESULTS] = n


@bare_inlined
def _why(
    route_first: Ints,
    codes: Ints,
    full: Floats,
    spent: Bools,
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
        if spent[codes[k]]:
            causes |= own[codes[k] >> 1]
    return int(causes) if causes else CONGESTION


@bare_inlined
def _too_small(first: Ints, codes: Ints, full: Floats, own: Ints, route: int, need: float) -> int:
    """Causes of the links of a route that could not carry the need even alone."""
    causes = 0
    for k in range(first[route], first[route + 1]):
        if full[codes[k]] < need - SMALL_MBIT_S:
            causes |= own[codes[k] >> 1]
    return int(causes)
