"""Meshes of a graph: parts that hang together by single sites only, so that routes pass each at most once."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from typing import Any

_Place = str | int
"""A site by its name or a mesh by its number, as places of the forest that they make."""


class Meshes:
    """Meshes of a graph, and which of them lie between two sites.

    A mesh holds all links of which any two lie on one ring, or a single link that is on none. Meshes and the
    sites that they share make a forest: what lies on the way through it is all that a route without loops
    may cross, which leaves little of a large network to be searched.

    Parameters
    ----------
    ends : mapping of int to (str, str)
        Sites of each link, by its number.

    Attributes
    ----------
    links : list of list of int
        Links of each mesh, in order.
    """

    def __init__(self, ends: Mapping[int, tuple[str, str]]) -> None:
        import networkx as nx

        found: Any = nx.biconnected_components(nx.Graph(list(ends.values())))  # typed as single sites
        sites: list[set[str]] = list(found)
        meshes_of: dict[str, set[int]] = defaultdict(set)
        for mesh, members in enumerate(sites):
            for site in members:
                meshes_of[site].add(mesh)
        self.links: list[list[int]] = [[] for _ in sites]
        for number, (first, second) in ends.items():
            (mesh,) = meshes_of[first] & meshes_of[second]
            self.links[mesh].append(number)
        self._above: dict[_Place, _Place | None] = {}
        for root in meshes_of:
            waiting: list[tuple[_Place, _Place | None]] = [] if root in self._above else [(root, None)]
            while waiting:
                place, above = waiting.pop()
                self._above[place] = above
                below: Collection[_Place] = sites[place] if isinstance(place, int) else meshes_of[place]
                waiting += [(each, place) for each in below if each != above]

    def on_the_way(self, a: str, b: str) -> list[tuple[str, int, str]]:
        """Meshes that every route without loops crosses, in order: where it comes in, mesh, where it leaves.

        None for sites between which there is no route, and for one site alone.
        """
        up, down = self._way_up(a), self._way_up(b)
        if not (up and down) or up[-1] != down[-1]:
            return []
        while min(len(up), len(down)) > 1 and up[-2] == down[-2]:
            up, down = up[:-1], down[:-1]
        places: list[Any] = [*up, *down[-2::-1]]
        return list(zip(places[:-2:2], places[1::2], places[2::2], strict=True))

    def _way_up(self, site: str) -> list[_Place]:
        """Places from a site to the root of its tree; none for a site without links."""
        way: list[_Place] = []
        place: _Place | None = site if site in self._above else None
        while place is not None:
            way.append(place)
            place = self._above[place]
        return way
