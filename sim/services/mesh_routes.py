"""The best routes through one mesh of links, with links and sites that are to be avoided."""

import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice, pairwise
from typing import Any

from hopyears.sim.services.service_data import Route


@dataclass(frozen=True)
class Link:
    """A link of the graph: a hop, or parallel hops that share their load.

    Attributes
    ----------
    first, second : str
        Site ids of its ends.
    length_km : float
        [km], at least 0.
    """

    first: str
    second: str
    length_km: float


def step_over(number: int, link: Link, start: str) -> tuple[int, int]:
    """A link as a step of a route that comes from one of its ends."""
    return number, 0 if link.first == start else 1


@dataclass(frozen=True)
class Avoided:
    """Links and sites that a route avoids: it must, or crosses as few links, and then sites, as can be."""

    links: frozenset[int] = frozenset()
    sites: frozenset[str] = frozenset()
    must: bool = True


NOTHING = Avoided()


class MeshRoutes:
    """The best routes without loops through one mesh; what was asked once is remembered.

    Parameters
    ----------
    links : mapping of int to (Link, float)
        Links of the mesh by their numbers, and their costs: above 0, each below 2.
    """

    def __init__(self, links: Mapping[int, tuple[Link, float]]) -> None:
        import networkx as nx

        self._links = links
        self._graph: nx.Graph[Any] = nx.Graph()
        for number, (link, _) in links.items():
            if not self._graph.has_edge(link.first, link.second):
                self._graph.add_edge(link.first, link.second, numbers=[])
            self._graph[link.first][link.second]["numbers"].append(number)
        for _, _, edge in self._graph.edges(data=True):
            self._set(edge, NOTHING)
        self._numbers, self._sites = frozenset(links), frozenset(self._graph)
        self._found: dict[Any, list[tuple[float, Route]]] = {}

    def best(self, start: str, end: str, n_routes: int, avoided: Avoided) -> list[tuple[float, Route]]:
        """Costs and routes from one site to another, at most ``n_routes``, the best first.

        Of parallel links the cheapest stands for all.
        """
        here = Avoided(avoided.links & self._numbers, avoided.sites & self._sites, avoided.must)
        asked = start, end, n_routes, here
        if asked not in self._found:
            with self._avoiding(here):
                self._found[asked] = self._search(start, end, n_routes)
        return self._found[asked]

    def _search(self, start: str, end: str, n_routes: int) -> list[tuple[float, Route]]:
        import networkx as nx

        found = []
        for sites in islice(nx.shortest_simple_paths(self._graph, start, end, weight="cost"), n_routes):
            edges = [(one, self._graph[one][other]) for one, other in pairwise(sites)]
            cost = sum(edge["cost"] for _, edge in edges)
            if cost < math.inf:
                numbers = [(edge["number"], site) for site, edge in edges]
                found.append((cost, tuple(step_over(n, self._links[n][0], site) for n, site in numbers)))
        return found

    @contextmanager
    def _avoiding(self, avoided: Avoided) -> Iterator[None]:
        """Costs as they are for those who avoid something; edges stay in their order."""
        ends = [(self._links[number][0].first, self._links[number][0].second) for number in avoided.links]
        ends += [(site, other) for site in avoided.sites for other in self._graph[site]]
        edges = [self._graph[one][other] for one, other in ends]
        for edge in edges:
            self._set(edge, avoided)
        yield
        for edge in edges:
            self._set(edge, NOTHING)

    def _set(self, edge: dict[str, Any], avoided: Avoided) -> None:
        """Give an edge the cheapest of its parallel links."""
        edge["cost"], edge["number"] = min((self._cost(each, avoided), each) for each in edge["numbers"])

    def _cost(self, number: int, avoided: Avoided) -> float:
        link, cost = self._links[number]
        touched = len({link.first, link.second} & avoided.sites)
        crossed = number in avoided.links
        if avoided.must:
            return math.inf if touched or crossed else cost
        many = 2.0 * len(self._links) + 2.0  # more than all routes cost
        return cost + many * touched + (2.0 * many**2 if crossed else 0.0)
