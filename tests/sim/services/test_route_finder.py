from itertools import combinations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hopyears.sim.services.mesh_routes import Link
from hopyears.sim.services.meshes import Meshes
from hopyears.sim.services.route_finder import RouteFinder

# A ring of four sites with a short cut, a spur, and two parallel links on it.
LINKS = [
    Link("a", "b", 10.0),
    Link("b", "c", 10.0),
    Link("d", "c", 10.0),
    Link("a", "d", 30.0),
    Link("b", "d", 5.0),
    Link("e", "c", 8.0),
    Link("e", "c", 7.0),
]


def test_working_route_has_the_fewest_hops_then_the_least_length():
    finder = RouteFinder(LINKS)
    assert finder.working("a", "c") == ((0, 0), (1, 0))
    assert finder.working("c", "a") == ((1, 1), (0, 1))
    assert finder.working("a", "e") == ((0, 0), (1, 0), (6, 1))


def test_protecting_route_avoids_sites_then_links():
    finder = RouteFinder(LINKS)
    assert finder.protecting("a", "c", finder.working("a", "c")) == ((3, 0), (2, 0))
    assert finder.protecting("e", "c", ((6, 0),)) == ((5, 0),)
    chain = RouteFinder([Link("a", "b", 1.0), Link("b", "c", 1.0), Link("a", "b", 2.0), Link("b", "c", 2.0)])
    assert chain.protecting("a", "c", ((0, 0), (1, 0))) == ((2, 0), (3, 0))
    assert RouteFinder(LINKS[:2]).protecting("a", "c", ((0, 0), (1, 0))) is None


def test_rerouting_gives_the_best_routes_in_order():
    finder = RouteFinder(LINKS)
    found = finder.rerouting("a", "c", 10)
    assert found[:2] == (((0, 0), (1, 0)), ((3, 0), (2, 0)))
    assert len(found) == 4
    assert [finder.cost(route) for route in found] == sorted(finder.cost(route) for route in found)
    with pytest.raises(ValueError, match="n_routes is 0; must be at least 1"):
        finder.rerouting("a", "c", 0)


def test_a_route_over_parallel_links():
    finder = RouteFinder([*LINKS, Link("c", "b", 20.0)], unused=[])
    working = finder.working("a", "e")
    assert finder.over_parallel_links(working) == (((0, 0), (1, 0), (5, 1)), ((0, 0), (7, 1), (6, 1)))
    assert RouteFinder(LINKS, unused=[5]).over_parallel_links(working) == ()


def test_no_route():
    finder = RouteFinder([*LINKS, Link("x", "y", 1.0)])
    assert finder.working("a", "x") is None
    assert finder.working("a", "nowhere") is None
    assert finder.rerouting("a", "a", 3) == ()
    assert finder.disjoint_pair("a", "x") is None
    assert finder.disjoint_pair("a", "nowhere") is None
    assert RouteFinder(LINKS[:2]).disjoint_pair("a", "c") is None


def test_disjoint_pair_where_the_shortest_route_blocks_the_second():
    """The trap graph: the best route crosses from one side to the other and leaves none disjoint."""
    sides = [Link("a", "p", 1.0), Link("p", "q", 1.0), Link("q", "b", 1.0)]
    trap = RouteFinder(
        [*sides, Link("a", "r", 2.0), Link("r", "q", 2.0), Link("p", "s", 2.0), Link("s", "b", 2.0)]
    )
    working = trap.working("a", "b")
    assert working == ((0, 0), (1, 0), (2, 0))
    assert trap.protecting("a", "b", working) is None
    first, second = trap.disjoint_pair("a", "b")
    assert {link for link, _ in first} == {0, 5, 6} or {link for link, _ in first} == {3, 4, 2}
    assert not {link for link, _ in first} & {link for link, _ in second}


def _all_routes(links, a, b):
    """Every route without loops, by trying everything."""

    def extend(site, used, seen):
        if site == b:
            yield tuple(used)
            return
        for number, link in enumerate(links):
            for start, end, way in ((link.first, link.second, 0), (link.second, link.first, 1)):
                if start == site and end not in seen:
                    yield from extend(end, [*used, (number, way)], seen | {end})

    return list(extend(a, [], {a}))


_links = st.lists(
    st.tuples(st.sampled_from("abcde"), st.sampled_from("abcde"), st.integers(1, 40)).filter(
        lambda x: x[0] != x[1]
    ),
    min_size=1,
    max_size=9,
)


@settings(deadline=None)
@given(_links)
def test_against_trying_everything(drawn):
    links = [Link(a, b, float(km)) for a, b, km in drawn]
    finder = RouteFinder(links)
    routes = _all_routes(links, "a", "b")
    working = finder.working("a", "b")
    assert (working is None) == (not routes)
    assume(routes)
    assert finder.cost(working) == pytest.approx(min(map(finder.cost, routes)))
    pairs = [
        finder.cost(one) + finder.cost(other)
        for one, other in combinations(routes, 2)
        if not {link for link, _ in one} & {link for link, _ in other}
    ]
    found = finder.disjoint_pair("a", "b")
    assert (found is None) == (not pairs)
    if found:
        assert finder.cost(found[0]) + finder.cost(found[1]) == pytest.approx(min(pairs))
        assert set(found) <= set(routes)


@settings(deadline=None)
@given(_links)
def test_the_best_routes_and_those_apart_against_trying_everything(drawn):
    links = [Link(a, b, float(km)) for a, b, km in drawn]
    finder, routes = RouteFinder(links), _all_routes(links, "a", "b")
    assume(routes)

    def sites(route):
        return [links[number].first if way == 0 else links[number].second for number, way in route]

    def inner(route):
        return {*sites(route)[1:]}

    def crossed(route):
        return {number for number, _ in route}

    by_sites = {}
    for route in routes:  # of parallel links the best stands for all
        key = tuple(sites(route))
        by_sites[key] = min(by_sites.get(key, float("inf")), finder.cost(route))
    found = [finder.cost(route) for route in finder.rerouting("a", "b", 4)]
    assert found == pytest.approx(sorted(by_sites.values())[:4])

    working = finder.working("a", "b")
    apart = [each for each in routes if not crossed(each) & crossed(working)]
    wholly = [each for each in apart if not inner(each) & inner(working)]
    protecting = finder.protecting("a", "b", working)
    assert (protecting is None) == (not apart)
    if protecting:
        assert finder.cost(protecting) == pytest.approx(min(map(finder.cost, wholly or apart)))

    def shared(route):
        touched = [len({links[n].first, links[n].second} & inner(working)) for n, _ in route]
        return len(crossed(route) & crossed(working)), sum(touched), round(finder.cost(route), 9)

    least = finder.least_shared("a", "b", working)
    best = min(map(shared, routes))
    assert best == shared(working if least is None else least)
    assert finder.working("a", "b") == RouteFinder(links).rerouting("a", "b", 1)[0]


@given(_links)
def test_meshes_between_two_sites_hold_the_links_of_all_routes_and_no_others(drawn):
    links = [Link(a, b, float(km)) for a, b, km in drawn]
    meshes = Meshes({number: (link.first, link.second) for number, link in enumerate(links)})
    crossed = {link for route in _all_routes(links, "a", "b") for link, _ in route}
    way = meshes.on_the_way("a", "b")
    assert sorted(link for _, mesh, _ in way for link in meshes.links[mesh]) == sorted(crossed)
    assert [start for start, _, _ in way[1:]] == [end for _, _, end in way[:-1]]
    assert not way or (way[0][0], way[-1][2]) == ("a", "b")


def test_least_shared_keeps_the_spur_and_leaves_the_ring_by_the_other_side() -> None:
    ring = [Link("a", "b", 1.0), Link("b", "c", 1.0), Link("c", "d", 1.0), Link("d", "a", 1.0)]
    finder = RouteFinder([*ring, Link("a", "spur", 1.0)])
    working = finder.working("spur", "b")
    assert working == ((4, 1), (0, 0))
    assert finder.protecting("spur", "b", working) is None
    assert finder.least_shared("spur", "b", working) == ((4, 1), (3, 1), (2, 1), (1, 1))


def test_least_shared_is_none_where_there_is_only_the_working_route() -> None:
    chain = RouteFinder([Link("a", "b", 1.0), Link("b", "c", 1.0)])
    assert chain.least_shared("a", "c", chain.working("a", "c")) is None
