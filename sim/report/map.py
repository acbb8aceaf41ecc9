"""Map of sites and hops on the local plane: colour by unavailable minutes, dashes where nothing protects."""

import math

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection
from matplotlib.colors import LogNorm
from matplotlib.lines import Line2D

from hopyears.models.basics.arrays import Floats
from hopyears.models.radio.scheme import parse_scheme
from hopyears.sim.report.naming import name_points
from hopyears.sim.report.scales import RAMP, colour_limits, figure_of, round_ticks
from hopyears.sim.wording.palette import INK
from hopyears.sim.wording.wording import given, number

MOST_NAMES = 150
"""Sites named at most; those with most hops come first."""

FEW_SITES = 60
"""Up to so many sites every name is put somewhere, and marks have full size."""

MOST_COVERED = 8.0
"""Points that a name may cover on a map of more sites."""

MOST_HOPS_NAMED = 3
"""Hops named with their minutes, the worst first."""

MOST_VECTOR_HOPS = 4000
"""Above this many hops the lines are drawn as one picture, so that the page stays small."""


def network_map(hops: pd.DataFrame, axes: Axes, *, sites: pd.DataFrame) -> Axes:
    """Sites and hops from above.

    Parameters
    ----------
    hops : DataFrame
        Columns ``hop``, ``from``, ``to``, ``scheme``, ``unavailable_min_per_year``.
    axes : Axes
        On a figure whose size is final: names are placed in its pixels.
    sites : DataFrame
        Columns ``site``, ``east_km``, ``north_km``.

    Notes
    -----
    North is up along the meridian through the middle of the network. Hops on the same two sites are drawn
    side by side.
    """
    places = sites.set_index("site")[["east_km", "north_km"]].astype(np.float64)
    _fit(axes, sites)
    ends = _hop_ends(hops, places, gap_km=0.012 * float(np.ptp(axes.get_xlim())))
    minutes = hops["unavailable_min_per_year"].to_numpy(np.float64)
    norm = LogNorm(*colour_limits(minutes))
    scale = _scale(len(places))
    protected = [is_protected(str(scheme)) for scheme in hops["scheme"]]
    _draw_hops(axes, ends, minutes, norm, protected, scale=scale)
    axes.plot(
        places["east_km"], places["north_km"], "o", color="white", markeredgecolor=INK, markersize=5 * scale,
        markeredgewidth=1.2 * scale, zorder=4,
    )  # fmt: skip
    _colour_bar(axes, norm, minutes)
    _scale_bar(axes)
    _north_arrow(axes)
    _kinds_of_line(axes, minutes)
    _names(axes, hops, places, ends, minutes)
    return axes


def is_protected(scheme: str) -> bool:
    """Whether another radio or channel stands in when one fails; text that is no scheme counts as no."""
    try:
        parsed = parse_scheme(scheme)
    except ValueError:
        return False
    return parsed.standby > 0 or parsed.protection > 0


def map_limits(sites: pd.DataFrame) -> Floats:
    """What the map shows: west, east, south and north [km], a margin round the sites, never a mere strip."""
    places = sites[["east_km", "north_km"]].to_numpy(np.float64)
    low, high = places.min(axis=0), places.max(axis=0)
    middle, span = (low + high) / 2.0, high - low
    span = np.maximum(1.14 * span, 0.3 * max(float(span.max()), 0.5))
    return np.stack([middle - span / 2.0, middle + span / 2.0], axis=1).ravel()


def map_height_in(sites: pd.DataFrame, width_in: float) -> float:
    """Height of a figure of that width which suits the network's shape, at most square [inch]."""
    west, east, south, north = map_limits(sites)
    return float(min(width_in * (north - south) / (east - west), width_in - 1.0) + 1.0)


def _fit(axes: Axes, sites: pd.DataFrame) -> None:
    """Show all sites, lengths alike in both directions, no frame."""
    west, east, south, north = map_limits(sites)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    axes.set_axis_off()


def _scale(n_sites: int) -> float:
    """Size of marks and lines against those of a map of few sites."""
    return float(np.clip(math.sqrt(FEW_SITES / n_sites), 0.5, 1.0))


def _hop_ends(hops: pd.DataFrame, places: pd.DataFrame, *, gap_km: float) -> Floats:
    """East and north of both ends [km], shape (n, 2, 2); parallel hops apart by the gap."""
    starts, stops = (places.loc[hops[end]].to_numpy(np.float64) for end in ("from", "to"))
    ends = np.stack([starts, stops], axis=1)
    pairs = pd.Series([tuple(sorted(pair)) for pair in zip(hops["from"], hops["to"], strict=True)])
    rank = pairs.groupby(pairs).cumcount().to_numpy()
    beside = rank - (pairs.map(pairs.value_counts()).to_numpy() - 1) / 2
    along = stops - starts
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)
    # The normal is taken from the sorted pair, or two hops of opposite sense would share a side.
    sense = np.where([a <= b for a, b in zip(hops["from"], hops["to"], strict=True)], 1.0, -1.0)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) * (sense / length)[:, None]
    shifted: Floats = ends + (normal * (beside * gap_km)[:, None])[:, None, :]
    return shifted


def _draw_hops(
    axes: Axes, ends: Floats, minutes: Floats, norm: LogNorm, protected: list[bool], *, scale: float
) -> None:
    """Each hop in its colour on a pale bed; where nothing was seen only the pale bed with a thin line."""
    seen = minutes > 0.0
    colours = np.where(
        seen[:, None], RAMP(norm(np.maximum(minutes, norm.vmin or 1.0))), (0.6, 0.64, 0.66, 1.0)
    )
    dashes = ["solid" if each else (0, (2.4, 1.0)) for each in protected]
    lines = LineCollection(
        list(ends),
        colors=list(colours),
        linewidths=scale * np.where(seen, 3.4, 1.6),
        linestyles=dashes,
        zorder=3,
    )
    bed = LineCollection(list(ends), colors="#efece6", linewidths=5.4 * scale, zorder=2)
    for collection in (bed, lines):
        collection.set_rasterized(len(ends) > MOST_VECTOR_HOPS)
        axes.add_collection(collection)


def _colour_bar(axes: Axes, norm: LogNorm, minutes: Floats) -> None:
    if not (minutes > 0.0).any():
        axes.set_title("\n\n")  # the room that the legend takes beside the colour bar
        return
    bar = figure_of(axes).colorbar(
        ScalarMappable(norm, RAMP), ax=axes, orientation="horizontal", location="top", shrink=0.5,
        aspect=45, pad=0.02, anchor=(0.0, 0.0),
    )  # fmt: skip
    bar.outline.set_visible(False)
    ticks = round_ticks(float(norm.vmin or 1.0), float(norm.vmax or 1.0))
    bar.set_ticks(ticks, labels=[given(tick) for tick in ticks], minor=False)
    bar.ax.minorticks_off()
    bar.set_label("unavailable minutes a year of the hop by itself", loc="left")


def _kinds_of_line(axes: Axes, minutes: Floats) -> None:
    handles = [
        Line2D([], [], color=INK, linewidth=3),
        Line2D([], [], color=INK, linewidth=3, linestyle=(0, (2.4, 1.0))),
        Line2D([], [], color=(0.6, 0.64, 0.66), linewidth=1.6),
    ]
    names = ["a standby or protection channel", "no protection", "no unavailable time seen"]
    shown = 3 if (minutes == 0.0).any() else 2
    legend = axes.legend(
        handles[:shown], names[:shown], loc="upper right", bbox_to_anchor=(0.995, 0.995),
        bbox_transform=figure_of(axes).transFigure, borderaxespad=0.0, handlelength=3.0,
    )  # fmt: skip
    legend.set_in_layout(False)


def round_length_km(most_km: float) -> float:
    """Largest of 1, 2 and 5 times a power of ten that does not exceed a length [km]."""
    power = 10.0 ** math.floor(math.log10(most_km))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most_km)


def _scale_bar(axes: Axes) -> None:
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    length = round_length_km((right - left) / 5.0)
    x, y = left + 0.02 * (right - left), bottom + 0.035 * (top - bottom)
    axes.plot([x, x + length], [y, y], color=INK, linewidth=2.2, solid_capstyle="butt", zorder=5)
    axes.annotate(
        f"{length:g} km",
        (x + length / 2, y),
        xytext=(0, 4),
        textcoords="offset points",
        ha="center",
        fontsize=9,
    )


def _north_arrow(axes: Axes) -> None:
    axes.annotate(
        "N", (0.985, 0.99), xytext=(0, -34), xycoords="axes fraction", textcoords="offset points",
        ha="center", va="top",
        fontsize=11, arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.4, "shrinkB": 0},
    )  # fmt: skip


def _names(axes: Axes, hops: pd.DataFrame, places: pd.DataFrame, ends: Floats, minutes: Floats) -> None:
    """Name sites and the worst hops where there is room, with a thin line to a name that stands apart."""
    degree = pd.concat([hops["from"], hops["to"]]).value_counts()
    order = sorted(places.index, key=lambda site: (-int(degree.get(site, 0)), str(site)))[:MOST_NAMES]
    worst = [i for i in np.argsort(-minutes, kind="stable")[:MOST_HOPS_NAMED] if minutes[i] > 0.0]
    texts = [f"{hops['hop'].iloc[i]}: {number(minutes[i])} min" for i in worst] + [str(s) for s in order]
    points = np.concatenate([ends[worst].mean(axis=1).reshape(-1, 2), places.loc[order].to_numpy()])
    name_points(
        axes,
        texts,
        points,
        ends.reshape(-1, 4),
        italic=len(worst),
        most_covered=np.inf if len(places) <= FEW_SITES else MOST_COVERED,
    )
