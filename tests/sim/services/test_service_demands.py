"""What services ask of the hops: routes, directions, switching, line cards."""

from itertools import combinations

import numpy as np
import pytest
from small_networks import hop, triangle

from hopyears.models.network.network import Service, Sharing, Site
from hopyears.sim.equipment.plant_builder import build_plant
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.services.service_data import BACKWARD, FORWARD
from hopyears.sim.services.service_demands import REROUTED_CANDIDATES, hop_bundles, service_demands


def demands(*services, **more):
    network = triangle(services=services, **more)
    designs = design_hops(network)
    return service_demands(network, designs, build_plant(network, designs))


def demand(**more):
    (found,), _ = demands(
        Service(**{"id": "s", "site_a": "a", "site_b": "b", "committed_mbit_s": 20.0, **more})
    )
    return found


def test_the_route_of_fewest_hops():
    assert demand().routes == (((0, FORWARD),),)
    assert demand(site_a="b", site_b="a").routes == (((0, BACKWARD),),)


def test_a_stated_route_goes_before_and_has_its_directions():
    # From b by c to a: hop c-b runs from c to b and hop a-c from a to c, so both are crossed backward.
    found = demand(site_a="b", site_b="a", route=("c-b", "a-c"))
    assert found.routes == (((2, BACKWARD), (1, BACKWARD)),)
    assert demand(route=("a-c", "c-b")).routes == (((1, FORWARD), (2, FORWARD)),)


def test_protection_adds_a_route_that_shares_nothing():
    found = demand(protection="protected")
    assert found.routes == (((0, FORWARD),), ((1, FORWARD), (2, FORWARD)))
    stated = demand(protection="protected", route=("a-c", "c-b"), protecting_route=("a-b",))
    assert stated.routes == (((1, FORWARD), (2, FORWARD)), ((0, FORWARD),))


def test_without_another_way_there_is_one_route():
    network = triangle()
    found, _ = demands(
        Service(id="s", site_a="a", site_b="c", committed_mbit_s=1.0, protection="protected"),
        hops=network.hops[:2],
    )
    assert found[0].routes == (((1, FORWARD),),)


def test_rerouting_takes_the_shortest_ways_and_one_that_shares_nothing():
    assert demand(protection="rerouted").routes == (((0, FORWARD),), ((1, FORWARD), (2, FORWARD)))
    network = triangle()
    twin = hop("a-b-2", "a", "b", 8.0, antenna="large")
    found, _ = demands(
        Service(id="s", site_a="a", site_b="b", committed_mbit_s=1.0, protection="rerouted"),
        hops=(*network.hops, twin),
    )
    # A parallel hop is nearer than the way round by the third site.
    assert found[0].routes == (((0, FORWARD),), ((3, FORWARD),), ((1, FORWARD), (2, FORWARD)))


def test_rerouting_uses_every_parallel_hop_of_its_way():
    # A chain of two hops, both doubled, nothing beside it: whichever one fails, there is a way.
    first, second = triangle().hops[1:]
    twins = [hop(f"{one.id}-2", one.site_a, one.site_b, 8.0) for one in (first, second)]
    found, _ = demands(
        Service(id="s", site_a="a", site_b="b", committed_mbit_s=1.0, protection="rerouted"),
        hops=(first, second, *twins),
    )
    ways = [{link for link, _ in route} for route in found[0].routes]
    assert ways[0] == {0, 1}
    assert all(any(failed not in way for way in ways) for failed in range(4))
    assert {frozenset(way) for way in ways} == {frozenset(w) for w in ({0, 1}, {2, 1}, {0, 3}, {2, 3})}


def test_rerouting_keeps_to_a_few_ways():
    corners = [Site(id=f"n{i}", latitude_deg=45.0 + 0.1 * i, longitude_deg=11.0) for i in range(6)]
    hops = [hop(f"{one.id}-{other.id}", one.id, other.id, 8.0) for one, other in combinations(corners, 2)]
    found, _ = demands(
        Service(id="s", site_a="n0", site_b="n1", committed_mbit_s=1.0, protection="rerouted"),
        sites=tuple(corners),
        hops=tuple(hops),
        crews=(),
    )
    routes = found[0].routes
    assert len(routes) == len(set(routes)) == REROUTED_CANDIDATES
    lengths = [len(route) for route in routes]
    assert lengths == sorted(lengths)


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, 0.0),
        ({"protection": "protected"}, 0.05),
        ({"protection": "rerouted"}, 5.0),
        ({"protection": "protected", "switching_time_s": 0.3}, 0.3),
        ({"protection": "rerouted", "switching_time_s": 0.0}, 0.0),
    ],
)
def test_time_to_switch(more, expected):
    assert demand(**more).switching_s == expected


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, 0.0),
        ({"protection": "protected"}, 0.05),
        ({"protection": "rerouted"}, 0.0),
        ({"protection": "rerouted", "commanded_switching_time_s": 0.2}, 0.2),
    ],
)
def test_time_to_switch_by_command(more, expected):
    assert demand(**more).commanded_s == expected


def test_a_switch_that_does_not_revert_waits_for_ever():
    assert demand(protection="protected", reverts=False).wait_to_restore_s == np.inf


def test_rates_and_shares():
    found = demand(peak_mbit_s=80.0, required_share=0.5, priority=2, hold_off_s=0.1, wait_to_restore_s=60.0)
    assert (found.wait_to_restore_s, demand().wait_to_restore_s) == (60.0, 300.0)
    assert (found.committed_mbit_s, found.peak_mbit_s, found.priority) == (20.0, 80.0, 2)
    assert (found.required_share, found.switch_below_mbit_s, found.hold_off_s) == (0.5, 0.0, 0.1)
    degrade = demand(peak_mbit_s=80.0, required_share=0.5, switch_trigger="signal degrade")
    assert degrade.switch_below_mbit_s == 10.0
    assert demand().peak_mbit_s == 20.0


def test_line_cards_are_links_at_the_ends():
    one = Service(id="one", site_a="a", site_b="b", committed_mbit_s=2.0, kind="circuit")
    two = Service(id="two", site_a="c", site_b="b", committed_mbit_s=2.0, kind="circuit")
    plain = Service(id="plain", site_a="a", site_b="b", committed_mbit_s=2.0)
    found, cards = demands(one, two, plain)
    # Three hops, then a card at each of the three sites.
    assert len(cards) == len(set(cards)) == 3
    links = [[link for link, _ in each.routes[0]] for each in found]
    assert links[0][1] == 0
    assert links[1][1] == 2
    assert links[2] == [0]
    assert {links[0][0], links[0][-1], links[1][0], links[1][-1]} == {3, 4, 5}
    assert links[0][-1] == links[1][-1]  # both end on the card at b


def test_a_bundle_is_one_link_behind_its_first_hop():
    pair = (hop("p", "a", "b", 7.0, bundle="ab"), hop("q", "a", "b", 7.4, bundle="ab"))
    more = (hop("a-c", "a", "c", 23.0), hop("c-b", "c", "b", 7.4))
    network = triangle(hops=(*more, *pair), services=())
    designs = design_hops(network)
    assert hop_bundles(designs) == [(0,), (1,), (2, 3), ()]
    services = (
        Service(id="s", site_a="a", site_b="b", committed_mbit_s=20.0, protection="rerouted"),
        Service(id="t", site_a="a", site_b="b", committed_mbit_s=20.0, route=("q",)),
    )
    network = triangle(hops=(*more, *pair), services=services)
    designs = design_hops(network)
    (free, stated), _ = service_demands(network, designs, build_plant(network, designs))
    assert free.routes == (((2, FORWARD),), ((0, FORWARD), (1, FORWARD)))
    assert stated.routes == (((2, FORWARD),),)


def test_a_route_of_fewer_hops_that_cannot_carry_the_service_is_passed_by():
    narrow = hop("a-b", "a", "b", 7.0, antenna="large", channel_width_mhz=3.5)
    others = tuple(hop(i, *i.split("-"), 7.4, antenna="large") for i in ("a-c", "c-b"))
    services = tuple(
        Service(id=f"s{rate}", site_a="a", site_b="b", committed_mbit_s=rate)
        for rate in (10.0, 100.0, 9000.0)
    )
    network = triangle(hops=(narrow, *others), services=services)
    designs = design_hops(network)
    low, high, never = service_demands(network, designs, build_plant(network, designs))[0]
    assert low.routes == (((0, FORWARD),),)
    assert high.routes == (((1, FORWARD), (2, FORWARD)),)
    assert never.routes == (((0, FORWARD),),)


def test_what_is_down_goes_by_kind_unless_stated():
    """Circuits fall short whole (G.826); half of the frames of a packet service (Y.1563, from memory)."""
    kinds = {kind: demand(kind=kind) for kind in ("packet", "circuit", "optical")}
    assert {kind: found.required_share for kind, found in kinds.items()} == {
        "packet": 0.5,
        "circuit": 1.0,
        "optical": 1.0,
    }
    assert (kinds["packet"].severe_share, kinds["circuit"].severe_share) == (0.5, 0.3)
    assert demand(required_share=0.8).required_share == 0.8
    degrade = demand(switch_trigger="signal degrade")
    assert degrade.switch_below_mbit_s == degrade.committed_mbit_s  # left below committed, though not down


def test_routes_by_load_leave_most_capacity_free():
    """Two like services: the first goes the short way, the second the other way round, by priority."""
    own = {"site_a": "a", "site_b": "b", "committed_mbit_s": 60.0}
    first, second = Service(id="first", priority=5, **own), Service(id="second", priority=1, **own)
    short, long = ((0, FORWARD),), ((1, FORWARD), (2, FORWARD))
    assert [each.routes for each in demands(first, second)[0]] == [(short,), (short,)]
    by_load = demands(first, second, sharing=Sharing(routes="by load"))[0]
    assert {each.id: each.routes[0] for each in by_load} == placed_by_hand(first, second, (short, long))


def placed_by_hand(first, second, ways):
    """The one of priority 1 takes the way of most capacity in clear air, the other what is wider then."""
    clear = [design.clear_capacity_mbit_s for design in design_hops(triangle())]
    left = {way: min(clear[link] for link, _ in way) for way in ways}
    found = {}
    for service in (second, first):
        # Of equal ones the shorter, which is the first.
        best = max(ways, key=lambda way: left[way])
        left[best] -= service.committed_mbit_s
        found[service.id] = best
    return found


def test_a_stated_route_loads_its_links():
    """Who may choose avoids what another's stated route fills."""
    own = {"site_a": "a", "site_b": "b"}
    fixed = Service(id="fixed", committed_mbit_s=100.0, route=("a-b",), **own)
    free = Service(id="free", committed_mbit_s=60.0, **own)
    found = demands(fixed, free, sharing=Sharing(routes="by load"))[0]
    assert found[0].routes == (((0, FORWARD),),)
    assert found[1].routes == (((1, FORWARD), (2, FORWARD)),)
