"""Picture files of a study of modulation: which, of how many hops and services, and in what words."""

import math
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import shorten

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.modulation import figures as drawn
from hopyears.sim.modulation import names as modulation_names
from hopyears.sim.modulation.findings import ADAPTIVE
from hopyears.sim.report.drawing import WIDTH_IN, look, new_axes, write_png
from hopyears.sim.report.illustrations import MOST_CURVES, RATES_FLOOR_SHARE
from hopyears.sim.report.scales import figure_of, legend_above, log_limits
from hopyears.sim.wording.wording import plural

FIGURES = "figures"
"""Folder of the pictures, beside that of the tables."""

HEAD_IN = 1.2
"""Room for heading, explanation and legend [inch]."""

BARS = "Bars: 95 % intervals of each alone. Hollow: the paired difference to adaptive is not sure."

MOST_TITLE_LETTERS = 30
"""Letters of a panel's name."""

MOST_LETTERS = 140
"""Letters on a line below the heading."""

LEFT_SHARE = 1e-2
LEAST_FLOOR_SHARE = 1e-7
"""Left end of the axis of availability unless something drawn needs more; right end at the utmost."""

Tables = Mapping[str, pd.DataFrame]


@dataclass(frozen=True)
class Picture:
    """A picture file, and what it shows."""

    path: Path
    caption: str


def write_pictures(tables: Tables, folder: Path | str, *, note: str) -> list[Picture]:
    """Draw a study into its folder, in place of the pictures of fewer years.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Of ``sim.modulation.tables.study_tables``.
    folder : path
        Of the study.
    note : str
        What was simulated, for the heading of each.

    Returns
    -------
    list of Picture
        ``hops.png``, and where services were studied ``services.png`` and ``undelivered.png``.
    """
    final, partial = Path(folder) / FIGURES, Path(folder) / f".{FIGURES}"
    shutil.rmtree(partial, ignore_errors=True)
    partial.mkdir()
    pictures = []
    with look():
        for name, figure, caption in drawn_figures(tables, note):
            write_png(figure, partial / f"{name}.png", description=caption)
            pictures.append(Picture(final / f"{name}.png", caption))
    shutil.rmtree(final, ignore_errors=True)
    partial.rename(final)
    return pictures


def drawn_figures(tables: Tables, note: str) -> Iterator[tuple[str, Figure, str]]:
    """Each figure of a study with its name and what it shows, ``note`` in its heading."""
    hops, services, undelivered = (tables[name] for name in ("hops", "services", "undelivered"))
    if len(hops):
        lost = "difference_min_per_year"  # where a modulation never works, there is nothing to choose
        usable = hops.assign(**{lost: hops[lost].where(hops["best_mbit_s"] > 0.0, 0.0)})
        kept, caption = most_lost("hop", usable, lost, "that lose most with a fixed modulation")
        yield "hops", _hops(kept, tables, note), f"capacity against availability of {caption}"
    if len(services):
        adaptive = services[services["states"] == ADAPTIVE]
        kept, caption = most_lost("service", adaptive, "unavailable_min_per_year", "that are out for longest")
        yield "services", _services(kept, services, note), f"throughput against availability of {caption}"
    if len(undelivered):
        yield "undelivered", _undelivered(undelivered, note), "what is not delivered, by priority"


def most_lost(kind: str, cases: pd.DataFrame, by: str, most: str) -> tuple[list[str], str]:
    """The hops or services that are drawn, and in words which these are.

    Parameters
    ----------
    kind : str
        Column of the names, and their noun.
    cases : DataFrame
        Columns ``kind`` and ``by``, any number of rows for each name.
    by, most : str
        Of more than ``MOST_CURVES`` those with the largest figure in this column, in words.
    """
    names = list(dict.fromkeys(cases[kind]))
    if len(names) <= MOST_CURVES:
        return names, plural(len(names), kind)
    worst = cases.groupby(kind, sort=False)[by].max().sort_values(ascending=False, kind="stable")
    return list(worst.index[:MOST_CURVES]), f"{MOST_CURVES} of {len(names)} {kind}s, those {most}"


def _hops(names: Sequence[str], tables: Tables, note: str) -> Figure:
    cases, curves = tables["hops"], tables["hop_curves"]
    cases = cases[cases["hop"].isin(names)]
    left, floor = _ends(cases, "below_best_min_per_year")
    panels = _panels(len(names), "share of time [%]", "at least [Mbit/s]")
    states: set[int] = set()
    for axes, hop in zip(panels, names, strict=True):
        own = curves[curves["hop"] == hop]
        only = _only_states(hop, tables["hop_modulations"])
        if only in set(own["states"]):
            own = own[own["states"] == only]
        drawn.capacity_curves(own, cases[cases["hop"] == hop], axes, left_share=left, floor_share=floor)
        states |= set(own["states"])
        _title(axes, hop, "" if only is None else f" ({only} states only)")
    legend_above(panels[0], drawn.curve_marks(states), gap_points=22.0)
    return _finished(
        panels,
        "Capacity of hops, adaptive against fixed modulation",
        "Capacity had for at least that share of the time. Bars: 95 % interval of the time with less than a "
        "fixed modulation has at its best.",
        note,
        lambda axes, hop: modulation_names.name_curves(cases[cases["hop"] == hop], axes),
        names,
    )


def _only_states(hop: str, modulations: pd.DataFrame) -> int | None:
    """The states of a hop that has a single modulation, where nothing is adaptive."""
    states = modulations.loc[(modulations["hop"] == hop) & (modulations["states"] > 0), "states"]
    return int(states.iloc[0]) if len(states) == 1 else None


def _title(axes: Axes, name: str, more: str = "") -> None:
    """Name of a panel; what would run into the next panel loses its middle."""
    room = MOST_TITLE_LETTERS - len(more)
    if len(name) > room:
        name = f"{name[: room // 2 - 1]}…{name[-(room // 2) :]}"
    axes.set_title(name + more, parse_math=False, fontweight="bold")


def _services(names: Sequence[str], services: pd.DataFrame, note: str) -> Figure:
    cases = services[services["service"].isin(names)]
    left, floor = _ends(cases, "unavailable_min_per_year")
    panels = _panels(len(names), "share of time available [%]", "mean Mbit/s")
    for axes, service in zip(panels, names, strict=True):
        own = cases[cases["service"] == service]
        drawn.throughput_points(own, axes, left_share=left, floor_share=floor)
        _title(axes, service)
    marks = drawn.point_marks(cases, left_share=left, floor_share=floor)
    legend_above(panels[0], marks, gap_points=22.0)
    return _finished(
        panels,
        "Throughput of services, adaptive against fixed modulation of all hops",
        f"A hop without a modulation is fixed at its next lower one. {BARS}",
        note,
        lambda axes, service: modulation_names.name_points(cases[cases["service"] == service], axes),
        names,
    )


def _undelivered(undelivered: pd.DataFrame, note: str) -> Figure:
    sums = undelivered[undelivered["cause"] == "all"]
    levels = sorted(set(sums["priority"]))
    rows = sums["states"].nunique()
    panels = new_axes(
        (0.55 + 0.23 * rows) * len(levels) + 0.3,
        head_in=HEAD_IN,
        n_rows=len(levels),
        n_columns=2,
        sharey="row",
    )
    rates = {
        "undelivered_mbit_per_year": "of the peak rates",
        "undelivered_committed_mbit_per_year": "of the committed rates",
    }
    for column, (name, words) in enumerate(rates.items()):
        ends = np.concatenate([sums[f"{name}{end}"].to_numpy(np.float64) for end in ("", "_low", "_high")])
        limits = log_limits(ends / 1e3)
        for row, level in enumerate(levels):
            axes = panels[2 * row + column]
            drawn.undelivered_rows(sums[sums["priority"] == level], axes, name=name, limits=limits)
            axes.set_title(f"priority {level}, {words}", fontweight="bold")
            if row == len(levels) - 1:
                axes.set_xlabel("not delivered [Gbit a year]")
    legend_above(panels[0], drawn.row_marks(sums, list(rates)), gap_points=22.0)
    return _finished(
        panels,
        "What services lack, adaptive against fixed modulation of all hops",
        f"Both directions together. {BARS}",
        note,
    )


def _panels(n: int, x_label: str, y_label: str) -> list[Axes]:
    """A panel for each hop or service, three in a row; one that stands alone has the whole width."""
    columns = min(3, n)
    n_rows = math.ceil(n / columns)
    height_in = {1: 4.4, 2: 3.4}.get(columns, 2.35)
    panels = new_axes(height_in * n_rows + 0.2, head_in=HEAD_IN, n_columns=columns, n_rows=n_rows)
    for axes in panels[n:]:
        axes.set_visible(False)
    for place, axes in enumerate(panels[:n]):
        if place % columns == 0:
            axes.set_ylabel(y_label)
        if place + columns >= n:
            axes.set_xlabel(x_label)
    return panels[:n]


def _finished(
    panels: Sequence[Axes],
    heading: str,
    explained: str,
    note: str,
    name: Callable[[Axes, str], object] = lambda axes, of: None,
    names: Sequence[str] = (),
) -> Figure:
    """Put heading and explanation above the panels, fix the layout, and name what the panels show."""
    figure = figure_of(panels[0])
    height_in = figure.get_figheight()
    note = shorten(f"Same weather, nights and failures in all: {note}", MOST_LETTERS, placeholder=" …")
    for text, down_in, size, weight in (
        (heading, 0.08, 13, "bold"),
        (explained, 0.36, 9, "normal"),
        (note, 0.54, 9, "normal"),
    ):
        figure.text(
            0.1 / WIDTH_IN, 1.0 - down_in / height_in, text, va="top", parse_math=False,
            fontsize=size, fontweight=weight, in_layout=False,
        )  # fmt: skip
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    for axes, of in zip(panels, names, strict=False):
        name(axes, of)
    return figure


def _ends(cases: pd.DataFrame, name: str) -> tuple[float, float]:
    """Ends of the axis of availability: decades, 99 % to 99.999 % and what adaptive modulation has."""
    shares = cases.loc[cases["states"] == ADAPTIVE, name].to_numpy(np.float64) / MINUTES_PER_YEAR
    shares = shares[shares > 0.0]
    powers = np.log10([shares.min(), shares.max()]) if shares.size else np.array([0.0, -9.0])
    left, floor = 10.0 ** np.ceil(powers[1]), 10.0 ** np.floor(powers[0])
    left, floor = np.clip(left, LEFT_SHARE, 1.0), np.clip(floor, LEAST_FLOOR_SHARE, RATES_FLOOR_SHARE)
    return float(left), float(floor)
