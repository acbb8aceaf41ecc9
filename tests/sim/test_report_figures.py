"""Figures and map show the numbers of their tables; names and colours keep apart."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from synthetic_results import CAUSES, SERVICE_MINUTES, SERVICES, SITES, made_up_results

from hopyears.models.judging.cause import Cause, cause_label
from hopyears.sim.report import figures, rate_figures
from hopyears.sim.report.labels import place_labels
from hopyears.sim.report.map import is_protected, map_height_in, map_limits, network_map, round_length_km
from hopyears.sim.report.scales import colour_limits, log_limits, ramp, steps, tick_log_axis
from hopyears.sim.runs.failure_rows import PHASE_COLUMNS
from hopyears.sim.wording.palette import CAUSE_GROUPS, OTHER, SEVERAL, cause_group

TABLES = made_up_results().tables
NAMES = [service[0] for service in SERVICES]


@pytest.fixture
def axes() -> Axes:
    return Figure(figsize=(8, 6), layout="constrained").subplots()


def _bars(axes: Axes) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {"row": round(p.get_y() + p.get_height() / 2), "left": p.get_x(), "width": p.get_width()}
            for p in axes.patches
        ]
    )


def _row_names(axes: Axes) -> list[str]:
    return [text.get_text() for text in axes.get_yticklabels()]


def test_minutes_are_drawn_with_their_intervals(axes: Axes) -> None:
    assert figures.unavailable_minutes(TABLES["services"], axes) is axes
    assert _row_names(axes) == NAMES
    seen = next(line for line in axes.lines if line.get_marker() == "o")
    assert list(seen.get_xdata()) == [240.0, 31.0]
    whole = next(c for c in axes.collections if isinstance(c, LineCollection))
    spans = [path.vertices[:, 0].tolist() for path in whole.get_paths()]
    np.testing.assert_allclose(spans, [[192.0, 312.0], [24.8, 40.3]])
    bound = next(line for line in axes.lines if line.get_marker() == "<")
    assert list(bound.get_xdata()) == [0.7]
    assert list(bound.get_ydata()) == [2.0]
    textbook = next(line for line in axes.lines if line.get_marker() == "D")
    np.testing.assert_allclose(textbook.get_xdata(), TABLES["services"]["textbook_min_per_year"])
    assert axes.get_xscale() == "log"
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert legend == ["simulated, 95 % interval", "at most", "textbook sum"]


def test_cause_bars_sum_to_the_minutes(axes: Axes) -> None:
    figures.cause_bars(TABLES["service_causes"], axes, names=NAMES, totals=TABLES["services"])
    bars = _bars(axes)
    np.testing.assert_allclose(bars.groupby("row")["width"].sum(), SERVICE_MINUTES)
    joined = bars[bars["row"] == 0].query("width > 0")
    np.testing.assert_allclose(joined["left"].iloc[1:], joined["width"].cumsum().iloc[:-1])
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert legend == [
        "rain",
        "clear-air fading",
        "outdoor equipment",
        "power",
        "congestion",
        "several at once",
    ]
    whiskers = axes.collections[0].get_paths()
    np.testing.assert_allclose(whiskers[0].vertices[:, 0], [192.0, 312.0])


def test_cause_shares_fill_the_bar(axes: Axes) -> None:
    figures.cause_bars(TABLES["service_causes"], axes, names=NAMES, as_shares=True)
    np.testing.assert_allclose(_bars(axes).groupby("row")["width"].sum(), [100.0, 100.0, 0.0])


def test_causes_of_one_group_are_not_several() -> None:
    minutes = figures.group_minutes(TABLES["service_causes"], NAMES)
    assert minutes.loc["birch-fir", "clear-air fading"] == pytest.approx(0.2 * 240.0)
    assert minutes.loc["birch-fir", SEVERAL.label] == pytest.approx(0.05 * 240.0)
    assert [cause_group(cause).label for cause in CAUSES][-2:] == [SEVERAL.label, "congestion"]


@pytest.mark.parametrize("flag", list(Cause)[1:] if Cause.NONE in list(Cause) else list(Cause))
def test_every_cause_has_a_group(flag: Cause) -> None:
    group = cause_group(cause_label(flag))
    assert group not in (SEVERAL, OTHER)
    assert flag & group.members


def test_lightning_stands_for_what_it_damaged() -> None:
    assert cause_group("cable + lightning + modem card") is cause_group("lightning")
    assert cause_group("lightning + rain") is SEVERAL


def test_no_cause_is_a_group_of_its_own() -> None:
    assert cause_group(cause_label(0)) is OTHER


_curve = st.lists(
    st.tuples(st.integers(0, 400), st.floats(0.0, 1.0)), min_size=1, max_size=8, unique_by=lambda t: t[0]
)


@given(_curve, st.floats(1e-5, 0.9))
def test_rate_steps_give_the_largest_rate_held_long_enough(
    curve: list[tuple[int, float]], lacks: float
) -> None:
    rates = sorted(float(rate) for rate, _ in curve)
    shares = sorted((share for _, share in curve), reverse=True)
    below, had = rate_figures.rate_steps(pd.Series(shares), pd.Series(rates))
    at = int(np.searchsorted(below, lacks, side="right")) - 1
    slow = max((r for r, s in zip(rates, shares, strict=True) if 1.0 - s <= lacks), default=0.0)
    assert had[at] == slow
    assert np.all(np.diff(below) >= 0.0)
    assert np.all(np.diff(had) >= 0.0)


def test_rate_curves_show_both_directions_and_the_committed_rate(axes: Axes) -> None:
    own = TABLES["service_throughput"].query("service == 'birch-fir'")
    assert rate_figures.rate_curves(own, axes, committed_mbit_s=50.0, floor_share=1e-5) is axes
    assert [text.get_text() for text in axes.get_legend().get_texts()] == ["forward", "backward", "committed"]
    corners = dict(zip(axes.lines[0].get_xdata(), axes.lines[0].get_ydata(), strict=True))
    at = {round(float(lacks), 9): float(rate) for lacks, rate in corners.items()}
    assert at == {1e-5: 0.0, 5e-5: 50.0, 2e-4: 100.0, 9e-4: 150.0, 4e-3: 200.0, 1.0: 200.0}
    assert axes.get_xlim() == (0.1, 1e-5)
    axes.figure.canvas.draw()
    labels = [text.get_text() for text in axes.get_xticklabels()]
    assert labels == ["90", "99", "99.9", "99.99", "99.999"]


def test_modulation_bars_end_where_the_shares_add_up(axes: Axes) -> None:
    rate_figures.modulation_bars(TABLES["hop_modulations"], axes, hops=["elm-fir", "alder-elm"])
    bars = _bars(axes)
    ends = (bars["left"] + bars["width"])[bars["row"] == 1]
    np.testing.assert_allclose(ends, np.cumsum([0.0002, 0.0008, 0.001, 0.008, 0.99]))
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert legend == ["down", "4 states", "16 states", "256 states", "1024 states"]


def test_phase_bars_sum_to_the_hours(axes: Axes) -> None:
    table = TABLES["part_failures"]
    figures.phase_bars(table, axes)
    hours = table[[*PHASE_COLUMNS]].sum(axis=1)
    np.testing.assert_allclose(_bars(axes).groupby("row")["width"].sum(), hours)
    assert _row_names(axes) == ["outdoor radio", "modem card", "mast"]


def test_month_map_darkens_with_the_minutes(axes: Axes) -> None:
    figures.month_map(TABLES["service_months"], axes, names=NAMES)
    july = [p for p in axes.patches if p.get_y() < 0.0 and p.get_x() == 5.5]
    january = [p for p in axes.patches if p.get_y() < 0.0 and p.get_x() == -0.5]
    assert sum(july[0].get_facecolor()[:3]) < sum(january[0].get_facecolor()[:3])
    assert "56" in [text.get_text() for text in axes.texts]
    quiet = [p for p in axes.patches if p.get_y() > 1.0]
    assert {p.get_facecolor() for p in quiet} == {(1.0, 1.0, 1.0, 1.0)}


def _map(axes: Axes) -> Axes:
    return network_map(TABLES["hops"], axes, sites=TABLES["sites"])


def test_map_colours_dashes_and_names(axes: Axes) -> None:
    assert _map(axes) is axes
    lines = axes.collections[1]
    minutes = TABLES["hops"]["unavailable_min_per_year"].to_numpy()
    lightness = lines.get_colors()[:, :3].sum(axis=1)
    seen = minutes > 0.0
    order = np.argsort(minutes[seen])
    assert np.all(np.diff(lightness[seen][order]) < 0.0)
    solid = [dashes is None for _, dashes in lines.get_linestyles()]
    assert solid == [is_protected(scheme) for scheme in TABLES["hops"]["scheme"]]
    shown = {text.get_text() for text in axes.texts}
    assert set(SITES) <= shown
    assert any(text.startswith("elm-fir: ") for text in shown)
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert "no unavailable time seen" in legend


def test_parallel_hops_lie_side_by_side(axes: Axes) -> None:
    _map(axes)
    ends = [path.vertices for path in axes.collections[1].get_paths()]
    to, back = ends[2], ends[3][::-1]  # cedar to alder, and alder to cedar
    gaps = np.hypot(*(to - back).T)
    assert gaps == pytest.approx([gaps[0]] * 2)
    assert gaps[0] > 0.1
    np.testing.assert_allclose((to + back) / 2.0, [SITES["cedar"], SITES["alder"]], atol=1e-9)


def test_scale_bar_is_as_long_as_it_says(axes: Axes) -> None:
    _map(axes)
    label = next(text.get_text() for text in axes.texts if text.get_text().endswith(" km"))
    bar = next(line for line in axes.lines if len(line.get_xdata()) == 2 and line.get_linewidth() == 2.2)
    assert float(np.ptp(bar.get_xdata())) == pytest.approx(float(label.removesuffix(" km")))


@pytest.mark.parametrize(("most", "length"), [(9.9, 5.0), (10.0, 10.0), (0.3, 0.2), (4300.0, 2000.0)])
def test_round_length(most: float, length: float) -> None:
    assert round_length_km(most) == pytest.approx(length)


@pytest.mark.parametrize(
    ("scheme", "protected"),
    [("1+0", False), ("2+0 XPIC", False), ("1+1 HSB", True), ("1+1 FD", True), ("3+1", True), ("?", False)],
)
def test_is_protected(scheme: str, protected: bool) -> None:
    assert is_protected(scheme) is protected


def test_map_is_never_a_strip_and_never_taller_than_wide() -> None:
    row = pd.DataFrame({"east_km": [0.0, 100.0], "north_km": [5.0, 5.0]})
    west, east, south, north = map_limits(row)
    assert west < 0.0 < 100.0 < east
    assert north - south >= 0.25 * (east - west)
    column = row.rename(columns={"east_km": "north_km", "north_km": "east_km"})
    assert map_height_in(column, 10.0) <= 10.0
    one_place = pd.DataFrame({"east_km": [1.0], "north_km": [2.0]})
    assert np.all(np.diff(map_limits(one_place)[:2]) > 0.0)


_points = st.lists(st.tuples(st.floats(0, 300), st.floats(0, 200)), min_size=1, max_size=25)


@given(_points)
def test_labels_never_overlap_nor_leave_the_drawing(points: list[tuple[float, float]]) -> None:
    at = np.array(points)
    sizes = np.tile([40.0, 10.0], (len(at), 1))
    segments = np.concatenate([at[:-1], at[1:]], axis=1)
    placed = place_labels(at, sizes, segments=segments, edges=(0.0, 0.0, 300.0, 200.0))
    boxes = [(p.x, p.y) for p in placed if p is not None]
    assert placed[0] is not None
    for i, (x, y) in enumerate(boxes):
        assert 0.0 <= x <= 260.0
        assert 0.0 <= y <= 190.0
        assert all(abs(x - u) >= 40.0 - 1e-9 or abs(y - v) >= 10.0 - 1e-9 for u, v in boxes[:i])


def test_labels_keep_off_reserved_ground() -> None:
    at, size, edges = np.array([[100.0, 100.0]]), np.array([[40.0, 10.0]]), (0.0, 0.0, 200.0, 200.0)
    free = place_labels(at, size, segments=np.zeros((0, 4)), edges=edges)[0]
    assert free is not None
    assert free.x > 100.0
    east = (100.0, 0.0, 200.0, 200.0)
    placed = place_labels(at, size, segments=np.zeros((0, 4)), edges=edges, reserved=[east])[0]
    assert placed is not None
    assert placed.x + 40.0 <= 100.0


def test_a_label_without_room_is_left_out() -> None:
    at = np.full((60, 2), 100.0)
    sizes = np.tile([50.0, 12.0], (60, 1))
    placed = place_labels(at, sizes, segments=np.zeros((0, 4)), edges=(0.0, 0.0, 200.0, 200.0))
    assert None in placed
    crossing = np.array([[0.0, float(y), 200.0, float(y)] for y in range(0, 200, 3)])
    edges = (0.0, 0.0, 200.0, 200.0)
    placed = place_labels(at[:1], sizes[:1], segments=crossing, edges=edges, most_covered=5.0)
    assert placed == [None]


def _lightness(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L* under D65 of sRGB colours (CIE 15; IEC 61966-2-1)."""
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = linear @ np.array([0.2126, 0.7152, 0.0722])
    return np.where(y > 216 / 24389, 116.0 * np.cbrt(y) - 16.0, y * 24389 / 27)


def test_ramp_darkens_evenly() -> None:
    lightness = _lightness(ramp(np.linspace(0.0, 1.0, 21)))
    falls = -np.diff(lightness)
    assert np.all(falls > 0.0)
    assert falls.max() < 1.6 * falls.min()
    assert lightness[0] - lightness[-1] > 60.0
    assert len(steps(1)) == 1


# Machado, Oliveira and Fernandes (2009), full severity; from memory.
BLINDNESS = {
    "none": np.eye(3),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
}


@pytest.mark.parametrize("kind", BLINDNESS)
def test_colours_of_causes_keep_apart(kind: str) -> None:
    rgb = np.array([to_rgb(group.colour) for group in CAUSE_GROUPS])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ BLINDNESS[kind].T, 0.0, 1.0)
    apart = np.linalg.norm(np.cbrt(seen)[:, None] - np.cbrt(seen)[None], axis=2)
    assert apart[~np.eye(len(rgb), dtype=bool)].min() > 0.1


def _ticks(low: float, high: float, most: int = 8) -> list[float]:
    axes = Figure().subplots()
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    tick_log_axis(axes.xaxis, low, high, most=most)
    return [tick for tick in axes.xaxis.get_majorticklocs() if low <= tick <= high]


def test_log_ticks_are_round_and_few() -> None:
    assert _ticks(8.0, 120.0) == pytest.approx([10.0, 20.0, 50.0, 100.0])
    for low, high in ((0.2, 3.0), (3e-4, 2e5), (40.0, 500.0), (1e-3, 1e4), (70.0, 160.0), (3.0, 6.0)):
        assert 2 <= len(_ticks(low, high)) <= 9, (low, high)


def test_log_limits_hold_all_but_the_vanishing() -> None:
    assert log_limits(np.array([0.0, np.nan])) == (0.1, 10.0)
    low, high = log_limits(np.array([3.0, 40.0]))
    assert low < 3.0
    assert high > 40.0
    assert log_limits(np.array([1e-300, 100.0]))[0] == pytest.approx(5e-5)


def test_colour_limits_hold_when_there_is_little_to_show() -> None:
    assert colour_limits(np.zeros(3)) == (1.0, 10.0)
    assert colour_limits(np.array([5.0, 5.0])) == (2.5, 5.0)
    assert colour_limits(np.array([1e-9, 100.0]), decades=2.0) == (1.0, 100.0)
