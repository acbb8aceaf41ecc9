"""Figures of a run's results by name: ``results.plot.map()``. Each draws on axes and gives them back."""

from collections.abc import Callable, Mapping

import pandas as pd
from matplotlib import pyplot
from matplotlib.axes import Axes

from hopyears.sim.report import figures, map, rate_figures
from hopyears.sim.report.drawing import WIDTH_IN, look, new_axes
from hopyears.sim.report.illustrations import MOST_ROWS, failed_parts, height_in
from hopyears.sim.report.scales import figure_of
from hopyears.sim.wording.names import relabelled
from hopyears.sim.wording.rows import worst_first

LEGEND_IN = 0.55
"""Room above the axes for a legend [inch]."""


CURVE_IN = 3.2
"""Height of a curve [inch]."""


class Plots:
    """Figures of one run. Without ``axes`` a figure of its own is made, with the worst rows first.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of results.
    labels : mapping, optional
        By list of the network, id to what readers see (``sim.wording.names.labels_of``).

    Examples
    --------
    >>> results = hopyears.open_run("run")
    >>> results.plot.causes().get_xlabel()
    'unavailable minutes a year'
    """

    def __init__(
        self, tables: Mapping[str, pd.DataFrame], labels: Mapping[str, Mapping[str, str]] | None = None
    ) -> None:
        self._labels = labels or {}
        self._tables = {name: relabelled(table, self._labels) for name, table in tables.items()}
        tables = self._tables
        self._services = worst_first(tables["services"]).head(MOST_ROWS)
        self._hops = worst_first(tables["hops"]).head(MOST_ROWS)

    def map(self, axes: Axes | None = None) -> Axes:
        """Sites and hops from above, coloured by unavailable minutes."""
        hops, sites = self._tables["hops"], self._tables["sites"]
        height = map.map_height_in(sites, WIDTH_IN)
        return _drawn(lambda on: map.network_map(hops, on, sites=sites), axes, height, fixed=True)

    def unavailable_minutes(self, axes: Axes | None = None) -> Axes:
        """Unavailable minutes of each service with its interval, and the textbook sum."""
        return _drawn(lambda on: figures.unavailable_minutes(self._services, on), axes, self._rows())

    def causes(self, axes: Axes | None = None) -> Axes:
        """Unavailable minutes of each service by cause."""
        table, names = self._tables["service_causes"], list(self._services["service"])
        return _drawn(
            lambda on: figures.cause_bars(table, on, names=names, totals=self._services), axes, self._rows()
        )

    def months(self, axes: Axes | None = None) -> Axes:
        """Unavailable minutes of each service in each calendar month."""
        table, names = self._tables["service_months"], list(self._services["service"])
        return _drawn(lambda on: figures.month_map(table, on, names=names), axes, self._rows())

    def rates(self, service: str, axes: Axes | None = None) -> Axes:
        """Rate of a service against the share of time that has at least this rate."""
        service = self._labels.get("services", {}).get(service, service)
        own = _own(self._tables["service_throughput"], "service", service)
        committed = float(_own(self._tables["services"], "service", service)["committed_mbit_s"].iloc[0])
        return _curve(lambda on: rate_figures.rate_curves(own, on, committed_mbit_s=committed), axes, service)

    def capacities(self, hop: str, axes: Axes | None = None) -> Axes:
        """Capacity of a hop against the share of time that has at least this capacity."""
        hop = self._labels.get("hops", {}).get(hop, hop)
        own = _own(self._tables["hop_capacity"], "hop", hop)
        return _curve(lambda on: rate_figures.rate_curves(own, on, rate="capacity_mbit_s"), axes, hop)

    def modulations(self, axes: Axes | None = None) -> Axes:
        """Share of channel time of each hop in each modulation."""
        table = self._tables["hop_modulations"]
        hops = [hop for hop in self._hops["hop"] if hop in set(table["hop"])]
        shown = table[table["hop"].isin(hops)]
        return _drawn(
            lambda on: rate_figures.modulation_bars(shown, on, hops=hops), axes, height_in(len(hops))
        )

    def failures(self, axes: Axes | None = None) -> Axes:
        """Hours a year that parts of each kind are failed, by what is waited for."""
        table = failed_parts(self._tables["part_failures"])
        return _drawn(lambda on: figures.phase_bars(table, on), axes, height_in(len(table)))

    def _rows(self) -> float:
        return height_in(len(self._services))


def _drawn(draw: Callable[[Axes], Axes], axes: Axes | None, whole_in: float, *, fixed: bool = False) -> Axes:
    """Draw in the look of the page, on axes given or on those of a new figure."""
    with look():
        if axes is None:
            (axes,) = new_axes(whole_in, head_in=0.0 if fixed else LEGEND_IN, make=pyplot.figure)
            figure_of(axes).set_facecolor("white")
        draw(axes)
        if fixed:  # names were placed in pixels
            figure_of(axes).set_layout_engine("none")
    return axes


def _curve(draw: Callable[[Axes], Axes], axes: Axes | None, name: str) -> Axes:
    """The same of the curve of one service or hop, which it names."""
    axes = _drawn(draw, axes, CURVE_IN)
    axes.set_xlabel(f"share of time that has at least this rate on {name} [%]", parse_math=False)
    axes.set_ylabel("Mbit/s")
    return axes


def _own(table: pd.DataFrame, column: str, name: str) -> pd.DataFrame:
    """Rows of one service or hop.

    Raises
    ------
    InputError
        If there are none.
    """
    from hopyears.sim.inputs.input_errors import place_among

    place_among([str(each) for each in table[column].unique()], name, column, "one of the run")
    return table[table[column] == name]
