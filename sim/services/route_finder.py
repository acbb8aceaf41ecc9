"""Routes over the graph of links: working, protecting, and candidates for free rerouting.

A route is a tuple of (link, direction), direction 0 when it runs from the link's first site to its
second. Fewer hops come first, then the shorter route.
"""

from collections.abc import Collection, Sequence
from functools import cached_property
from itertools import product
from operator import itemgetter
from typing import Any

from hopyears.sim.services.mesh_routes import NOTHING, Avoided, Link, MeshRoutes, step_over
from hopyears.sim.services.meshes import Meshes
from hopyears.sim.services.service_data import Route


class RouteFinder:
    """Finds routes over links.

    Parameters
    ----------
    links : sequence of Link
        In the order of their numbers.
    unused : collection of int
        Links that no route may use.
    """

    def __init__(self, links: Sequence[Link], unused: Collection[int] = ()) -> None:
        self._links = tuple(links)
        self._unused = frozenset(unused)
        self._total_km = 1.0 + sum(link.length_km for link in self._links)
        self._working: dict[tuple[str, str], Route | None] = {}
        self._known: dict[int, MeshRoutes] = {}

    def working(self, a: str, b: str) -> Route | None:
        """Route from ``a`` to ``b``, or None when there is none."""
        if (a, b) not in self._working:
            found = self.rerouting(a, b, 1)
            self._working[a, b] = found[0] if found else None
        return self._working[a, b]

    def protecting(self, a: str, b: str, working: Route) -> Route | None:
        """Route that shares no site but the ends with the working route, else no link; None if neither is.

        The working route is kept as it is; see ``disjoint_pair`` when both may be chosen.
        """
        links, sites = self._crossed(a, b, working)
        for barred in (sites, frozenset[str]()):
            found = self._simple_routes(a, b, 1, Avoided(links, barred))
            if found:
                return found[0]
        return None

    def least_shared(self, a: str, b: str, working: Route) -> Route | None:
        """Route that shares as few links, and then sites, with the working one as can be.

        For ends that hang on a spur: the spur is common to both routes, the ring beyond it is not. None
        if there is only the working route.
        """
        links, sites = self._crossed(a, b, working)
        found = self._simple_routes(a, b, 1, Avoided(links, sites, must=False))
        return found[0] if found and frozenset(link for link, _ in found[0]) != links else None

    def _crossed(self, a: str, b: str, route: Route) -> tuple[frozenset[int], frozenset[str]]:
        """Links of a route, and its sites but the ends."""
        links = frozenset(link for link, _ in route)
        sites = {site for link in links for site in (self._links[link].first, self._links[link].second)}
        return links, frozenset(sites - {a, b})

    def rerouting(self, a: str, b: str, n_routes: int) -> tuple[Route, ...]:
        """The best ``n_routes`` (at least 1) routes without loops, fewer when there are no more.

        Of parallel links the shortest stands for all: ``over_parallel_links`` gives a route over the others.
        """
        if n_routes < 1:
            raise ValueError(f"n_routes is {n_routes}; must be at least 1")
        return self._simple_routes(a, b, n_routes, NOTHING)

    def over_parallel_links(self, route: Route) -> tuple[Route, ...]:
        """The route with one of its links replaced by a parallel one, in all ways, the best first."""
        found: list[Route] = []
        for place, (number, direction) in enumerate(route):
            ends = self._links[number].first, self._links[number].second
            for other in self._between.get(frozenset(ends), ()):
                if other != number:
                    step = self._step(other, ends[direction])
                    found.append((*route[:place], step, *route[place + 1 :]))
        return tuple(sorted(found, key=lambda each: (self.cost(each), each)))

    def disjoint_pair(self, a: str, b: str) -> tuple[Route, Route] | None:
        """Working and protecting route without a common link, of least total cost; None if there are none.

        References
        ----------
        J. W. Suurballe, Disjoint paths in a network, Networks 4 (1974) 125-145; here two units of flow at
        least cost.
        """
        import networkx as nx

        graph: nx.DiGraph[Any] = nx.DiGraph()
        for number, link in enumerate(self._links):
            if number in self._unused:
                continue
            # A node in the middle of each direction keeps parallel links apart. Whole-number costs are exact.
            cost = round(self._cost(number) * 1e9)
            for direction, (start, end) in enumerate(((link.first, link.second), (link.second, link.first))):
                graph.add_edge(("site", start), (number, direction), capacity=1, weight=cost)
                graph.add_edge((number, direction), ("site", end), capacity=1, weight=0)
        ends = ("site", a), ("site", b)
        if a == b or any(end not in graph for end in ends):
            return None
        graph.add_node(ends[0], demand=-2)
        graph.add_node(ends[1], demand=2)
        try:
            flow = nx.min_cost_flow(graph)
        except nx.NetworkXUnfeasible:
            return None
        pair = [self._follow(flow, a, b), self._follow(flow, a, b)]
        first, second = sorted(pair, key=self.cost)
        return first, second

    def cost(self, route: Route) -> float:
        """Number of hops of a route, plus its length as a small share of one hop."""
        return sum(self._cost(link) for link, _ in route)

    def _cost(self, link: int) -> float:
        return 1.0 + self._links[link].length_km / self._total_km

    def _simple_routes(self, a: str, b: str, n_routes: int, avoided: Avoided) -> tuple[Route, ...]:
        """The best routes without loops: of each mesh on the way its best ones, put together."""
        way = self._meshes.on_the_way(a, b)
        found: list[tuple[float, Route]] = [(0.0, ())] if way else []
        for start, mesh, end in way:
            within = self._mesh_routes(mesh).best(start, end, n_routes, avoided)
            both = ((c + more, (*route, *steps)) for (c, route), (more, steps) in product(found, within))
            found = sorted(both, key=itemgetter(0))[:n_routes]
        return tuple(route for _, route in found)

    def _mesh_routes(self, mesh: int) -> MeshRoutes:
        if mesh not in self._known:
            numbers = self._meshes.links[mesh]
            self._known[mesh] = MeshRoutes({n: (self._links[n], self._cost(n)) for n in numbers})
        return self._known[mesh]

    @cached_property
    def _meshes(self) -> Meshes:
        used = {n: link for n, link in enumerate(self._links) if n not in self._unused}
        return Meshes({number: (link.first, link.second) for number, link in used.items()})

    @cached_property
    def _between(self) -> dict[frozenset[str], list[int]]:
        """Links in use between each two sites."""
        found: dict[frozenset[str], list[int]] = {}
        for number, link in enumerate(self._links):
            if number not in self._unused:
                found.setdefault(frozenset((link.first, link.second)), []).append(number)
        return found

    def _step(self, number: int, start: str) -> tuple[int, int]:
        return step_over(number, self._links[number], start)

    def _follow(
        self, flow: dict[tuple[str | int, str | int], dict[tuple[int, int], int]], a: str, b: str
    ) -> Route:
        """Take one unit of flow from ``a`` to ``b`` out of the flow."""
        steps: list[tuple[int, int]] = []
        site = a
        while site != b:
            out = flow["site", site]
            step = min(middle for middle, units in out.items() if units)
            out[step] = 0
            steps.append(step)
            link = self._links[step[0]]
            site = link.second if step[1] == 0 else link.first
        return tuple(steps)
