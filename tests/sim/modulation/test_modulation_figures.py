"""Figures of a study of modulation show the figures of its tables; the pictures are written."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text
from small_networks import triangle

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.blocks.prepared import prepare
from hopyears.sim.modulation import figures as drawn
from hopyears.sim.modulation import pictures as modulation_pictures
from hopyears.sim.modulation.findings import ADAPTIVE
from hopyears.sim.modulation.names import name_curves, name_points
from hopyears.sim.modulation.pictures import MOST_CURVES, most_lost, write_pictures
from hopyears.sim.modulation.study import modulation_study
from hopyears.sim.report.drawing import look
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.wording.palette import ACCENT, SECOND

ENDS = {"left_share": 1e-2, "floor_share": 1e-5}


@pytest.fixture(scope="module")
def tables() -> dict[str, pd.DataFrame]:
    """A study of all hops of a small network."""
    return modulation_study(prepare(triangle()), RunRequest(years=6, seed=3, block_years=2), states=[4, 64])


@pytest.fixture
def axes() -> Axes:
    return Figure(figsize=(8, 6), layout="constrained").subplots()


def cases_of(*rows: dict[str, float]) -> pd.DataFrame:
    """Rows of ``services``: what is not stated is known for sure and does not differ from adaptive."""
    filled = []
    for row in rows:
        full = {"unavailable_min_per_year": 50.0, "mean_mbit_s": 100.0, **row}
        for name in ("unavailable_min_per_year", "mean_mbit_s"):
            full = {f"{name}_low": full[name], f"{name}_high": full[name], **full}
        for name in ("difference_min_per_year", "difference_mbit_s"):
            full = {f"{name}_low": 0.0, f"{name}_high": 0.0, **full}
        filled.append(full)
    return pd.DataFrame(filled)


def at_share(line: object, lacks: float) -> float:
    """Height of a step line at a share of time that lacks."""
    x, y = (np.asarray(values, dtype=np.float64) for values in line.get_data())  # type: ignore[attr-defined]
    return float(y[np.searchsorted(x, lacks, side="right") - 1])


def bars(axes: Axes, colour: str) -> list[tuple[float, float, float]]:
    """Left end, right end and height of every horizontal bar of a colour."""
    found = []
    for collection in axes.collections:
        if isinstance(collection, LineCollection) and to_hex(collection.get_color()[0]) == colour:
            found += [
                (path[0, 0], path[1, 0], path[0, 1])
                for path in collection.get_segments()
                if path[0, 1] == path[1, 1]
            ]
    return found


def test_capacity_curves_go_through_the_percentiles_of_the_table(tables, axes):
    """Held to the columns of percentiles, which the study takes by another way."""
    for hop in ("a-b", "a-c", "c-b"):
        axes.clear()
        cases, curves = (tables[name][tables[name]["hop"] == hop] for name in ("hops", "hop_curves"))
        drawn.capacity_curves(curves, cases, axes, **ENDS)
        lines = [line for line in axes.lines if line.get_drawstyle() == "steps-post"]
        assert [to_hex(line.get_color()) for line in lines] == [SECOND, SECOND, ACCENT]
        for states, line in zip((4, 64, ADAPTIVE), lines, strict=True):
            row = cases[cases["states"] == states].iloc[0]
            for ending, lacks in (("99_9", 1e-3), ("99_99", 1e-4)):
                assert at_share(line, lacks * (1 + 1e-9)) == pytest.approx(row[f"mbit_s_{ending}"])
        assert axes.get_xlim() == (1e-2, 1e-5)
        axes.figure.canvas.draw()
        ticks = [text.get_text() for text in axes.get_xticklabels()]
        assert ticks == ["99", "99.9", "99.99", "99.999"]


def test_bars_of_curves_are_the_intervals_of_the_table(tables, axes):
    cases, curves = (tables[name][tables[name]["hop"] == "a-b"] for name in ("hops", "hop_curves"))
    drawn.capacity_curves(curves, cases, axes, **ENDS)
    fixed = cases[cases["states"] != ADAPTIVE]
    for colour, name, side in ((SECOND, "below_best", 1), (ACCENT, "adaptive_below", -1)):
        own = bars(axes, colour)
        assert len(own) == len(fixed) == 2
        for (left, right, height), (_, row) in zip(own, fixed.iterrows(), strict=True):
            low, high = (row[f"{name}_min_per_year_{end}"] / MINUTES_PER_YEAR for end in ("low", "high"))
            assert (left, right) == pytest.approx((max(low, 1e-5), min(high, 1e-2)))
            assert 0.0 < side * (height - row["best_mbit_s"]) < 0.1 * row["best_mbit_s"]
    # The adaptive interval surrounds what the adaptive curve shows.
    whole = curves[curves["states"] == ADAPTIVE]
    for _, row in fixed.iterrows():
        held = whole.loc[whole["mbit_s"] >= row["best_mbit_s"] - 5e-4, "exceeded_share"].max()
        assert row["adaptive_below_min_per_year"] / MINUTES_PER_YEAR == pytest.approx(1 - held, abs=1e-9)


def test_a_hop_with_one_modulation_has_one_curve(tables, axes):
    cases = tables["hops"].query("hop == 'a-c' and states in (0, 64)")
    curves = tables["hop_curves"].query("hop == 'a-c' and states == 64")
    drawn.capacity_curves(curves, cases, axes, **ENDS)
    assert [to_hex(line.get_color()) for line in axes.lines] == [SECOND]
    assert bars(axes, ACCENT) == []
    assert [name for _, name in drawn.curve_marks({64})] == [drawn.FIXED]


def test_names_of_curves_say_where_one_does_not_reach(axes):
    cases = pd.DataFrame(
        {
            "states": [ADAPTIVE, 4, 16, 17, 64, 256],
            "best_mbit_s": [200.0, 50.0, 100.0, 101.0, 200.0, 0.0],
            "below_best_min_per_year": [500.0, 5.0, 20.0, 20.0, 400_000.0, 0.0],
        }
    )
    axes.set_xscale("log")
    axes.set(xlim=(1e-2, 1e-5), ylim=(0.0, 230.0))
    axes.figure.draw_without_rendering()
    # 16 would stand on 17.
    assert name_curves(cases, axes) == ["64: under 99\N{NO-BREAK SPACE}%", "17", "4", "never: 256"]
    assert [text.xy for text in axes.texts] == [(0.0, 200.0), (0.0, 101.0), (0.0, 50.0), (1.0, 1.0)]


def test_points_stand_at_availability_and_throughput(tables, axes):
    cases = tables["services"][tables["services"]["service"] == "one"]
    drawn.throughput_points(cases, axes, left_share=1.0, floor_share=1e-6)
    points = {
        (float(line.get_xdata()[0]), float(line.get_ydata()[0])): to_hex(line.get_color())
        for line in axes.lines
    }
    expected = {
        (row["unavailable_min_per_year"] / MINUTES_PER_YEAR, row["mean_mbit_s"]): (
            SECOND if row["states"] else ACCENT
        )
        for _, row in cases.iterrows()
    }
    assert points == expected
    assert len(bars(axes, SECOND)) == len(cases) - 1


def test_points_tell_bounds_ends_and_sure_differences(axes):
    cases = cases_of(
        {"states": 0, "unavailable_min_per_year": 0.0, "unavailable_min_per_year_high": 10.0},
        {"states": 4, "mean_mbit_s": 40.0, "difference_mbit_s_low": -61.0, "difference_mbit_s_high": -59.0},
        {"states": 16, "unavailable_min_per_year": 0.5 * MINUTES_PER_YEAR},
        {"states": 64, "unavailable_min_per_year": 1e-6 * MINUTES_PER_YEAR},
        {"states": 256, "difference_min_per_year_low": -np.inf, "difference_min_per_year_high": np.inf},
    )
    drawn.throughput_points(cases, axes, **ENDS)
    found = {
        (line.get_marker(), round(float(line.get_xdata()[0]) * MINUTES_PER_YEAR, 2)): to_hex(
            line.get_markerfacecolor()
        )
        for line in axes.lines
    }
    assert found == {
        ("o", 50.0): "#ffffff",  # 256; 4 is drawn before it at another height
        ("<", 5259.6): "#ffffff",
        (">", 5.26): "#ffffff",
        (">", 10.0): ACCENT,
    }
    sure = next(line for line in axes.lines if line.get_ydata()[0] == 40.0)
    assert to_hex(sure.get_markerfacecolor()) == SECOND
    names = [name for _, name in drawn.point_marks(cases, **ENDS)]
    assert names == ["adaptive", drawn.FIXED, drawn.UNSURE, "at least", "less than the axis shows"]
    plain = [name for _, name in drawn.point_marks(cases[cases["states"] == 4], **ENDS)]
    assert plain == ["adaptive", drawn.FIXED]


def test_points_that_coincide_have_one_name_and_names_stand_apart(axes):
    cases = cases_of(
        *({"states": states} for states in (0, 64, 128)),
        {"states": 4, "mean_mbit_s": 40.0},
        {"states": 16, "mean_mbit_s": 43.0},
    )
    drawn.throughput_points(cases, axes, **ENDS)
    axes.figure.draw_without_rendering()
    assert sorted(name_points(cases, axes)) == ["16", "4", "64, 128"]
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == 3
    assert not any(boxes[i].overlaps(boxes[j]) for i in range(3) for j in range(i))
    assert name_points(cases[cases["states"] == ADAPTIVE], axes) == []


def test_undelivered_rows_are_those_of_the_table(axes):
    name = "undelivered_mbit_per_year"
    table = pd.DataFrame(
        {
            "states": [ADAPTIVE, 4, 64, 256],
            name: [2e6, 8e8, 3e6, 0.0],
            f"{name}_low": [1e6, 7e8, 2e6, 0.0],
            f"{name}_high": [4e6, 9e8, 5e6, 6e4],
            f"difference_{name}_low": [0.0, 7e8, -1e5, -2.5e6],
            f"difference_{name}_high": [0.0, 9e8, 2e6, -1.5e6],
        }
    )
    drawn.undelivered_rows(table, axes, name=name, limits=(10.0, 1e7))
    assert [text.get_text() for text in axes.get_yticklabels()] == [
        "adaptive",
        "4 states",
        "64 states",
        "256 states",
    ]
    shown = {
        (line.get_marker(), float(x), float(y)): to_hex(line.get_markerfacecolor())
        for line in axes.lines
        if line.get_marker() in ("o", "<")
        for x, y in zip(*line.get_data(), strict=True)
    }
    assert shown == {
        ("o", 2e3, 0.0): ACCENT,
        ("o", 8e5, 1.0): SECOND,
        ("o", 3e3, 2.0): "#ffffff",
        ("<", 60.0, 3.0): "#ffffff",
    }
    assert set(bars(axes, SECOND)) == {(7e5, 9e5, 1.0), (2e3, 5e3, 2.0), (10.0, 60.0, 3.0)}
    assert [label for _, label in drawn.row_marks(table, [name])] == [
        "adaptive",
        "fixed",
        drawn.UNSURE,
        "at most",
    ]


@pytest.mark.slow
def test_pictures_are_written_and_written_again(tables, tmp_path):
    (tmp_path / "figures").mkdir()
    (tmp_path / "figures" / "old.png").touch()
    pictures = write_pictures(tables, tmp_path, note="made up")
    assert [picture.path.name for picture in pictures] == ["hops.png", "services.png", "undelivered.png"]
    assert sorted(each.name for each in (tmp_path / "figures").iterdir()) == [
        picture.path.name for picture in pictures
    ]
    first = [picture.path.read_bytes() for picture in pictures]
    assert all(each.startswith(b"\x89PNG") and len(each) > 10_000 for each in first)
    assert [picture.caption for picture in pictures] == [
        "capacity against availability of 3 hops",
        "throughput against availability of 2 services",
        "what is not delivered, by priority",
    ]
    again = write_pictures(tables, tmp_path, note="made up")
    assert [picture.path.read_bytes() for picture in again] == first
    assert [each.name for each in tmp_path.iterdir()] == ["figures"]


def test_a_study_of_hops_alone_has_one_picture(tables, tmp_path):
    alone = {name: frame if "hop" in frame else frame.iloc[:0] for name, frame in tables.items()}
    (picture,) = write_pictures(alone, tmp_path, note="made up")
    assert picture.path.name == "hops.png"


def test_of_many_hops_those_that_lose_most_are_drawn():
    n = MOST_CURVES + 3
    few = pd.DataFrame({"hop": ["x", "x", "y"], "lost": [1.0, 2.0, 5.0]})
    assert most_lost("hop", few, "lost", "worst") == (["x", "y"], "2 hops")
    many = pd.DataFrame({"hop": [f"hop {i // 2}" for i in range(2 * n)], "lost": np.arange(2.0 * n) % 7.5})
    names, told = most_lost("hop", many, "lost", "that lose most")
    assert told == f"{MOST_CURVES} of {n} hops, those that lose most"
    lost = many.groupby("hop")["lost"].max()
    assert [lost[name] for name in names] == sorted(lost, reverse=True)[:MOST_CURVES]


@pytest.mark.slow
def test_a_page_of_many_hops_shows_those_in_their_order(tables, tmp_path, monkeypatch):
    n = MOST_CURVES + 3
    many = {
        name: pd.concat([frame[frame["hop"] == "a-b"].assign(hop=f"hop {i}") for i in range(n)])
        for name, frame in tables.items()
        if name.startswith("hop")
    }
    many |= {name: tables[name].iloc[:0] for name in ("services", "undelivered")}
    for i in range(n):
        many["hops"].loc[many["hops"]["hop"] == f"hop {i}", "difference_min_per_year"] *= 1.0 + i
    # The worst of all, but with a modulation that nobody would choose.
    many["hops"].loc[many["hops"]["hop"] == f"hop {n - 1}", "best_mbit_s"] = 0.0
    seen: list[str] = []

    def noted(curves, cases, axes, **ends):
        seen.append(cases["hop"].iloc[0])
        return axes

    monkeypatch.setattr(drawn, "capacity_curves", noted)
    (picture,) = write_pictures(many, tmp_path, note="made up")
    assert picture.caption.endswith(
        f"{MOST_CURVES} of {n} hops, those that lose most with a fixed modulation"
    )
    assert seen == [f"hop {i}" for i in reversed(range(2, n - 1))]


def test_names_are_drawn_as_they_are(tables, tmp_path, monkeypatch):
    """Names that would be faulty formulas, and some that are too long."""
    names = {"a-b": r"$\frac", "c-b": "begin-" + "x" * 40 + "-end"}
    odd = {
        name: frame.replace({"hop": names}) if "hop" in frame else frame.iloc[:0]
        for name, frame in tables.items()
    }
    drawn_figures = []
    monkeypatch.setattr(
        modulation_pictures, "write_png", lambda figure, *_, **__: drawn_figures.append(figure)
    )
    with look():
        write_pictures(odd, tmp_path, note=r"$\frac " + "a long title " * 40)
    panels = drawn_figures[0].axes
    assert [axes.get_title(loc="left") for axes in panels][:2] == [r"$\frac", "a-c"]
    assert panels[2].get_title(loc="left").startswith("begin-x")
    drawn_figures[0].draw_without_rendering()
    edge = drawn_figures[0].bbox
    for text in drawn_figures[0].findobj(
        lambda each: isinstance(each, Text) and each.get_fontweight() == "bold"
    ):
        extent = text.get_window_extent()
        assert 0.0 <= extent.x0 <= extent.x1 <= edge.x1
        assert extent.y1 <= edge.y1
