"""A run held against the standards: the joining, the ratio with its standard error, and the verb."""

import numpy as np
import pandas as pd
import pytest
from network_text import small, write
from small_networks import source_of, triangle

from hopyears.models.judging.cause import Cause
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands import main
from hopyears.sim.counting.fading_tally import FLAT, PROTECTED, RAIN
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tally_rows import STATE_CAUSE
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.studies.against import (
    HOP_CAUSES,
    NOT_IN_TEXTBOOKS,
    NOTES,
    SITE_CAUSES,
    _compared,
    _seconds,
    agreement,
    fading_figures,
    hold_against,
)
from hopyears.sim.textbook.predict import predict_hops

REQUEST = RunRequest(years=24, seed=5, block_years=2)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return simulate(source_of(triangle()), REQUEST, tmp_path_factory.mktemp("runs") / "one")


@pytest.fixture(scope="module")
def compared(folder):
    return hold_against(source_of(triangle()), folder)


def row_of(compared, hop, states, figure):
    chosen = compared[
        (compared["hop"] == hop) & (compared["states"] == states) & (compared["figure"] == figure)
    ]
    assert len(chosen) == 1
    return chosen.iloc[0]


def test_every_hop_and_modulation_has_every_figure(compared):
    assert list(compared.columns) == [
        "hop", "states", "figure", "unit", "predicted", "simulated", "ratio", "standard_error",
        "in_range",
    ]  # fmt: skip
    by_modulation = compared[compared["states"] > 0]
    assert (by_modulation.groupby(["hop", "states"]).size() == 10).all()
    assert len(by_modulation) == 3 * 5 * 10
    assert (compared[compared["states"] == 0].groupby("hop").size() == 3).all()


def test_predicted_figures_are_those_of_predict(compared):
    hops = predict_hops(prepare(triangle(), ModelOptions(anchoring=False)))
    for _, hop in hops.iterrows():
        rain = row_of(compared, hop["hop"], hop["states"], "rain")
        assert rain["predicted"] == pytest.approx(60.0 * hop["rain_min_per_year"])
        fading = row_of(compared, hop["hop"], hop["states"], "multipath with diversity")
        assert fading["predicted"] == pytest.approx(60.0 * hop["multipath_min_per_year"])
        worst = row_of(compared, hop["hop"], hop["states"], "multipath with diversity, worst month")
        assert worst["predicted"] == pytest.approx(30.4375 * 86400.0 * hop["multipath_worst_month"])


@pytest.mark.parametrize(
    ("hop", "entity", "states", "step", "figure", "kind", "column"),
    [
        ("a-c", 1, 1024, 4, "rain", RAIN, "seconds"),
        ("a-c", 1, 1024, 4, "rain, worst month", RAIN, "worst_month_s"),
        ("a-c", 1, 256, 3, "rain, fades of 10 s or longer", RAIN, "long_events"),
        ("a-b", 0, 64, 2, "flat fading of one line", FLAT, "seconds"),
        ("c-b", 2, 4, 0, "multipath with diversity", PROTECTED, "seconds"),
    ],
)
def test_simulated_figures_are_those_of_the_blocks(
    compared, folder, hop, entity, states, step, figure, kind, column
):
    values = []
    for block in folder.finished_blocks():
        table = folder.read_table(block, "hop_fading").to_pandas()
        here = (table["entity"] == entity) & (table["kind"] == kind) & (table["step"] == step)
        values.append(table.loc[here, column].sum() / 2.0)
    assert len(values) == 12
    row = row_of(compared, hop, states, figure)
    assert row["simulated"] == pytest.approx(np.mean(values))
    assert row["ratio"] == pytest.approx(np.mean(values) / row["predicted"])
    assert row["standard_error"] == pytest.approx(np.std(values, ddof=1) / 12.0**0.5 / row["predicted"])
    assert row["simulated"] > 0.0


def test_number_of_fades_by_hand(compared):
    """Time of P.530 over 410 s sqrt(d/46 km) 10^(-A/20) (Vigants 1975, from memory), 25 dB and deeper."""
    design = prepare(triangle(), ModelOptions(anchoring=False, rain=False)).designs[0]
    for step, states in enumerate(design.steps.states):
        row = row_of(compared, "a-b", states, "flat fades of one line")
        time = row_of(compared, "a-b", states, "flat fading of one line")
        depth_db = design.levels.margin_db[0, step]
        length_s = 410.0 * (design.path.length_km / 46.0) ** 0.5 * 10.0 ** (-depth_db / 20.0)
        assert row["predicted"] == pytest.approx(time["predicted"] / length_s)
        assert row["in_range"] == (depth_db >= 25.0)


def test_multipath_agrees_with_the_standards(compared):
    flat = compared[compared["figure"] == "flat fading of one line"]
    told = flat[flat["standard_error"] < 0.15]
    assert len(told) >= 8
    assert ((told["ratio"] - 1.0).abs() < 4.0 * told["standard_error"]).all()
    # A run of half the fading would be seen.
    assert ((0.5 * told["ratio"] - 1.0).abs() > 4.0 * 0.5 * told["standard_error"]).any()


def test_what_a_recommendation_does_not_cover_is_marked(compared):
    rain = compared[compared["figure"] == "rain"]
    fraction = rain["predicted"] / 31_557_600.0
    assert (rain["in_range"] == ((fraction >= 1e-5) & (fraction <= 1e-2))).all()
    assert 0 < rain["in_range"].sum() < len(rain)
    assert compared[compared["figure"].str.endswith("fading of one line")]["in_range"].all()
    prepared = prepare(triangle("1+1 FD"), ModelOptions(rain=False, anchoring=False))
    hop = HopThresholds(prepared.designs[0], prepared.anchors[0], prepared.nights[0])
    for step, depth_db in enumerate(prepared.designs[0].levels.margin_db[0]):
        gain = 80.0 * 0.056 / (7.0**2 * prepared.designs[0].path.length_km) * 10.0 ** (depth_db / 10.0)
        (diverse,) = [
            figure
            for figure in fading_figures(hop, step, ModelOptions())
            if figure.name == "multipath with diversity"
        ]
        assert diverse.in_range == (gain >= 5.0)


def test_ratio_and_error_by_hand():
    assert _compared(2.0, np.array([1.0, 3.0, 5.0, 3.0])) == pytest.approx(
        (2.0, 3.0, 1.5, np.sqrt(8.0 / 3.0) / 2.0 / 2.0)
    )
    predicted, simulated, ratio, error = _compared(2.0, np.array([0.0, 4.0]))
    assert (predicted, simulated, ratio) == (2.0, 2.0, 1.0)
    assert np.isnan(error)
    assert np.isnan(_compared(0.0, np.array([1.0, 2.0]))[2])


def test_causes_are_told_apart():
    seconds = {
        Cause.OUTDOOR_RADIO: 1.0,
        Cause.OUTDOOR_RADIO | Cause.LIGHTNING: 10.0,
        Cause.OUTDOOR_RADIO | Cause.RAIN: 100.0,
        Cause.POWER: 1_000.0,
        Cause.POWER | Cause.MODEM_CARD: 10_000.0,
        Cause.RAIN: 100_000.0,
        Cause.SWITCHING | Cause.MODEM_CARD: 1_000_000.0,
    }
    table = KeyedTable.collect(
        STATE_CAUSE, [(3, int(cause)) for cause in seconds], [(value,) for value in seconds.values()]
    )
    air = int(Cause.RAIN)
    assert _seconds(table, 3, HOP_CAUSES, SITE_CAUSES | air) == 1_000_011.0
    assert _seconds(table, 3, HOP_CAUSES, SITE_CAUSES | NOT_IN_TEXTBOOKS | air) == 1.0
    assert _seconds(table, 3, SITE_CAUSES, air) == 11_000.0
    assert _seconds(table, 2, SITE_CAUSES, air) == 0.0


def test_agreement_by_hand():
    table = pd.DataFrame(
        {
            "figure": ["rain"] * 5 + ["flat"],
            "ratio": [1.0, 1.2, 2.0, 0.0, 9.0, 1.0],
            "standard_error": [0.1, 0.1, 0.1, np.nan, 0.1, np.nan],
            "in_range": [True, True, True, True, False, True],
        }
    )
    rain, flat = agreement(table).to_dict("records")
    assert rain["figure"] == "rain"
    assert (rain["cases"], rain["none_seen"], rain["median_ratio"]) == (3, 1, 1.2)
    assert rain["within_3_standard_errors"] == pytest.approx(2.0 / 3.0)
    assert (rain["out_of_range"], flat["out_of_range"]) == (1, 0)
    assert (flat["cases"], flat["none_seen"]) == (0, 1)


def test_a_run_of_another_network_is_refused(folder):
    with pytest.raises(InputError, match=r"one: run is of another network; must be of test.toml"):
        hold_against(source_of(triangle("1+1 SD")), folder)


def test_a_folder_without_a_run_or_a_block_is_refused(folder, tmp_path):
    with pytest.raises(InputError, match="folder is not a run"):
        hold_against(source_of(triangle()), RunFolder(tmp_path))
    bare = RunFolder(tmp_path / "bare")
    bare.begin(folder.manifest(), folder.network(), resume=False)
    with pytest.raises(InputError, match="run has no finished block; must have one"):
        hold_against(source_of(triangle()), bare)


def test_what_was_switched_off_is_left_out(tmp_path):
    options = ModelOptions(rain=False, failures=False)
    run = simulate(
        source_of(triangle()), RunRequest(years=2, seed=1, block_years=1, options=options), tmp_path / "run"
    )
    figures = set(hold_against(source_of(triangle()), run)["figure"])
    assert all("fad" in figure or "multipath" in figure for figure in figures)
    assert len(figures) == 7


def test_the_verb_shows_both_and_writes_them(tmp_path, capsys):
    path = str(write(tmp_path, small()))
    assert main(["simulate", path, "--years", "2", "--seed", "1", "--out", str(tmp_path / "run")]) == 0
    capsys.readouterr()
    table = tmp_path / "table.csv"
    assert main(["predict", path, "--against", str(tmp_path / "run"), "--csv", str(table)]) == 0
    shown = capsys.readouterr().out
    assert "hops: by the standards and simulated" in shown
    assert "agreement over hops and modulations" in shown
    assert "rain, fades of 10 s or longer: P.530 has one curve for all hops." in " ".join(shown.split())
    assert "cross-polar in rain: " not in shown
    written = pd.read_csv(table)
    assert set(NOTES) <= {*written["figure"], "cross-polar in rain"}
    assert set(written["hop"]) == {"hill-mill", "mill-ridge", "ridge-dale"}
    assert {"predicted", "simulated", "ratio", "standard_error"} <= set(written.columns)
    other = small()
    other["hops"][0]["frequency_ghz"] = 23.0
    changed = str(write(tmp_path, other, "other.toml"))
    assert main(["predict", changed, "--against", str(tmp_path / "run")]) == 2
    assert "run is of another network; must be of other.toml as it stands" in capsys.readouterr().err
