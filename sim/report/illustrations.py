"""Which figures the page shows, how large they are, and what they say to those who cannot see them."""

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from hopyears.sim.report import figures, rate_figures
from hopyears.sim.report.drawing import WIDTH_IN, inline_svg, new_axes
from hopyears.sim.report.map import map_height_in, network_map
from hopyears.sim.report.scales import LEGEND_LINE_IN, figure_of, legend_lines
from hopyears.sim.runs.failure_rows import PHASE_COLUMNS
from hopyears.sim.wording.rows import worst_first
from hopyears.sim.wording.wording import bounded, records

MOST_ROWS = 40
"""Services or hops that a figure shows at most, the worst first; the tables hold all."""

MOST_CURVES = 12
"""Services, and hops, whose curve of rates is drawn."""

RATES_FLOOR_SHARE = 1e-5
"""Right end of the curves of rates: 99.999 % of the time."""

ROW_IN = 0.27
"""Height of a row of bars [inch]."""

Tables = Mapping[str, pd.DataFrame]


def illustrations(tables: Tables) -> dict[str, str]:
    """SVG elements by name; a figure for which the run has no data is left out."""
    return dict(_drawn(tables))


def _drawn(tables: Tables) -> Iterator[tuple[str, str]]:
    services, hops = worst_first(tables["services"]), worst_first(tables["hops"])
    yield "map", map_picture(tables["hops"], tables["sites"])
    if len(services):
        yield "minutes", minutes_picture(services.head(MOST_ROWS))
        yield "rates", _rates(services.head(MOST_CURVES), tables["service_throughput"])
        if (services["unavailable_min_per_year"] > 0.0).any():
            yield "causes", _causes(services.head(MOST_ROWS), tables["service_causes"])
    if len(tables["hop_modulations"]):
        radios = hops["hop"][
            hops["hop"].isin(tables["hop_modulations"]["hop"])
        ]  # a bundle has none of its own
        yield "modulations", _modulations(list(radios.head(MOST_ROWS)), tables["hop_modulations"])
    if len(tables["hop_capacity"]):
        yield "capacities", _capacities(hops.head(MOST_CURVES), tables["hop_capacity"])
    shown = failed_parts(tables["part_failures"])
    if len(shown):
        yield "phases", _phases(shown)


def failed_parts(failures: pd.DataFrame) -> pd.DataFrame:
    """Kinds of part that failed at all, those with most hours first."""
    hours = failures[[*PHASE_COLUMNS]].sum(axis=1)
    return failures[hours > 0.0].assign(sum_h=hours).sort_values("sum_h", ascending=False, kind="stable")


def height_in(n_rows: int) -> float:
    """Height of axes of so many rows of bars [inch]."""
    return 0.6 + ROW_IN * n_rows


def map_picture(hops: pd.DataFrame, sites: pd.DataFrame, *, most_in: float = math.inf) -> str:
    """The map, at most so high [inch]."""
    (axes,) = new_axes(min(map_height_in(sites, WIDTH_IN), most_in))
    network_map(hops, axes, sites=sites)
    figure_of(axes).set_layout_engine("none")
    return inline_svg(
        figure_of(axes),
        name="map",
        description=f"Map of {len(sites)} sites and {len(hops)} hops, coloured by unavailable minutes a year",
    )


def minutes_picture(services: pd.DataFrame, *, name: str = "service") -> str:
    """Unavailable minutes of services, or hops, from top to bottom."""
    (axes,) = new_axes(height_in(len(services)), head_in=0.5)
    figures.unavailable_minutes(services, axes, name=name)
    first = records(services)[0]
    worst = f"; the worst is {first[name]} with {bounded(first, 'unavailable_min_per_year')}"
    return _svg(axes, "minutes", f"Unavailable minutes a year of each {name} with 95 % interval{worst}")


def _causes(services: pd.DataFrame, causes: pd.DataFrame) -> str:
    minutes, shares = new_axes(
        height_in(len(services)), head_in=0.55, n_columns=2, sharey=True, width_ratios=(1.9, 1.0)
    )
    names = list(services["service"])
    figures.cause_bars(causes, shares, names=names, as_shares=True)
    figures.cause_bars(causes, minutes, names=names, totals=services)
    return _svg(minutes, "causes", "Unavailable minutes a year of each service by cause, and their shares")


def _rates(services: pd.DataFrame, throughput: pd.DataFrame) -> str:
    own = [
        (str(row["service"]), throughput[throughput["service"] == row["service"]], row["committed_mbit_s"])
        for row in records(services)
    ]
    description = "Rate of each service against the share of time that has at least this rate"
    return _svg(_panels(own, "rate_mbit_s"), "rates", description)


def _capacities(hops: pd.DataFrame, capacity: pd.DataFrame) -> str:
    own = [(str(hop), capacity[capacity["hop"] == hop], None) for hop in hops["hop"]]
    description = "Capacity of each hop against the share of time that has at least this capacity"
    return _svg(_panels(own, "capacity_mbit_s"), "capacities", description)


def _panels(curves: Sequence[tuple[str, pd.DataFrame, float | None]], rate: str) -> Axes:
    """A panel with the curve of each service or hop: its name, its table, and what it has committed."""
    columns = min(3, len(curves))
    n_rows = math.ceil(len(curves) / columns)
    panels = new_axes(2.1 * n_rows + 0.2, head_in=0.28, n_columns=columns, n_rows=n_rows)
    for axes in panels[len(curves) :]:
        axes.set_visible(False)
    for place, (axes, (name, table, committed)) in enumerate(zip(panels, curves, strict=False)):
        if place % columns == 0:
            axes.set_ylabel("Mbit/s")
        if place + columns >= len(curves):
            axes.set_xlabel("share of time [%]")
        axes.set_title(name, parse_math=False, fontweight="bold")
        rate_figures.rate_curves(
            table, axes, rate=rate, committed_mbit_s=committed, floor_share=RATES_FLOOR_SHARE
        )
        if place:  # one legend is enough
            axes.get_legend().remove()  # type: ignore[union-attr]
    return panels[0]


def _modulations(hops: list[str], modulations: pd.DataFrame) -> str:
    shown = modulations[modulations["hop"].isin(hops)]
    marks = shown["states"].nunique()
    (axes,) = new_axes(height_in(len(hops)), head_in=0.1 + LEGEND_LINE_IN * legend_lines(marks))
    rate_figures.modulation_bars(shown, axes, hops=hops, floor_share=_floor_share(shown))
    return _svg(axes, "modulations", "Share of channel time of each hop in each modulation")


def _floor_share(modulations: pd.DataFrame) -> float:
    """Left end of the axis: the decade below the least share of time at the lowest modulations or down."""
    mean = modulations.groupby(["hop", "states"])["share"].mean()
    least = mean[mean > 0.0].groupby(level="hop").first().min()
    if not least > 0.0:
        return rate_figures.FLOOR_SHARE
    return float(np.clip(10.0 ** np.floor(np.log10(least)), 1e-7, 1e-2))


def _phases(failures: pd.DataFrame) -> str:
    (axes,) = new_axes(height_in(len(failures)), head_in=0.35)
    figures.phase_bars(failures, axes)
    return _svg(axes, "phases", "Hours a year that failed parts of each kind wait or are mended")


def _svg(axes: "Axes", name: str, description: str) -> str:
    return inline_svg(figure_of(axes), name=name, description=description)
