"""Adaptive against fixed modulation: held to whole runs of networks whose radios are not adaptive."""

from dataclasses import fields

import numpy as np
import pandas as pd
import pytest
from network_text import write
from small_networks import source_of, triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.network.network import Hop, Network, Radio
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.block_tally import channels_at_level
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands import main
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.hops.modulation_steps import Steps
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.modulation.findings import (
    ADAPTIVE,
    BlockFindings,
    Finding,
    hop_finding,
    lowest_along,
    service_finding,
)
from hopyears.sim.modulation.fixed import fixed_design, nearest_step
from hopyears.sim.modulation.study import ModulationStudy, modulation_study
from hopyears.sim.modulation.tables import study_tables
from hopyears.sim.runs.simulate import RunRequest

SEED, YEARS = 11, 2
STATES = (4, 64, 1024)
FIGURES = {"hops.png", "services.png", "undelivered.png"}


def not_adaptive(network, states):
    """The network with every radio fixed at so many states."""
    radios = tuple(Radio(**{**radio.model_dump(), "adaptive": False}) for radio in network.radios)
    hops = tuple(Hop(**{**hop.model_dump(by_alias=True), "reference_states": states}) for hop in network.hops)
    return Network(**{**dict(network), "radios": radios, "hops": hops})


@pytest.fixture(scope="module")
def prepared():
    return prepare(triangle())


@pytest.fixture(scope="module")
def findings(prepared):
    return ModulationStudy(prepared, SEED, YEARS, range(3), STATES).block(0)


def alike(one, other):
    assert one.unavailable_s == other.unavailable_s
    assert one.severely_errored_s == other.severely_errored_s
    assert one.mean_mbit_s == pytest.approx(other.mean_mbit_s, rel=1e-12)
    met, met_too = one.seconds > 0.0, other.seconds > 0.0
    np.testing.assert_allclose(one.rate_mbit_s[met], other.rate_mbit_s[met_too])
    np.testing.assert_allclose(one.seconds[met], other.seconds[met_too], rtol=1e-9, atol=1e-3)


def test_a_fixed_design_is_that_of_a_radio_that_is_not_adaptive():
    network = triangle("1+1 SD")
    for step, states in enumerate(design_hops(network)[0].steps.states):
        plain = design_hops(not_adaptive(network, int(states)))[0]
        fixed = fixed_design(design_hops(network)[0], step)
        for field in fields(Steps):
            np.testing.assert_array_equal(getattr(fixed.steps, field.name), getattr(plain.steps, field.name))
        np.testing.assert_array_equal(fixed.levels.margin_db, plain.levels.margin_db)
        np.testing.assert_array_equal(fixed.levels.received_level_dbm, plain.levels.received_level_dbm)
    with pytest.raises(ValueError, match="step is 99; must be 0 to"):
        fixed_design(design_hops(network)[0], 99)


def test_the_nearest_step_is_not_above():
    design = design_hops(triangle())[0]
    for step, states in enumerate(design.steps.states):
        assert nearest_step(design, int(states)) == step
        assert nearest_step(design, int(states) + 1) == step
    assert nearest_step(design, 2) == 0


def test_adaptive_findings_are_those_of_the_simulation(prepared, findings):
    history = BlockSimulator(prepared).simulate(SEED, 0, YEARS)
    for number, hop in enumerate(history.hops):
        alike(findings.hops[number, ADAPTIVE], hop_finding(hop, history.duration_s))
    for number, service in enumerate(history.services):
        alike(findings.services[number, ADAPTIVE], service_finding(service))


@pytest.mark.parametrize("scheme", ["1+0", "1+1 SD", "2+0 XPIC"])
@pytest.mark.parametrize("states", STATES)
def test_thresholds_are_those_of_a_radio_that_is_not_adaptive(states, scheme):
    prepared = prepare(triangle(scheme))
    plain = BlockSimulator(prepare(not_adaptive(triangle(scheme), states)))
    for number, design in enumerate(prepared.designs):
        fixed = fixed_design(design, nearest_step(design, states))
        mine = HopThresholds(fixed, prepared.anchors[number], prepared.nights[number]).nominal
        theirs = plain.thresholds[number].nominal
        np.testing.assert_array_equal(mine.rain_down_db, theirs.rain_down_db)
        np.testing.assert_array_equal(mine.rain_up_db, theirs.rain_up_db)
        if mine.fades is not None:
            np.testing.assert_array_equal(mine.fades.down, theirs.fades.down)
            np.testing.assert_array_equal(mine.fades.up, theirs.fades.up)


@pytest.mark.parametrize("states", STATES)
def test_fixed_findings_are_those_of_a_network_that_is_not_adaptive(states):
    """Without multipath: rain is the same to the knots, failures are the same to the second."""
    options = ModelOptions(multipath=False)
    study = ModulationStudy(prepare(triangle(), options), SEED, YEARS, range(3), STATES).block(0)
    plain = prepare(not_adaptive(triangle(), states), options)
    history = BlockSimulator(plain).simulate(SEED, 0, YEARS)
    for number, hop in enumerate(history.hops):
        mine, theirs = study.hops[number, states], hop_finding(hop, history.duration_s)
        assert mine.unavailable_s == pytest.approx(theirs.unavailable_s, rel=2e-3, abs=2.0)
        assert mine.mean_mbit_s == pytest.approx(theirs.mean_mbit_s, rel=1e-5)
    for number, service in enumerate(history.services):
        mine, theirs = study.services[number, states], service_finding(service)
        assert mine.unavailable_s == pytest.approx(theirs.unavailable_s, rel=2e-3, abs=2.0)


def test_a_higher_fixed_modulation_is_out_of_service_for_longer(findings):
    for hop in range(3):
        lost = [findings.hops[hop, states].unavailable_s for states in STATES]
        assert lost == sorted(lost)
        assert findings.hops[hop, ADAPTIVE].unavailable_s <= lost[0] + 60.0
        best = [findings.hops[hop, states].rate_mbit_s[-1] for states in STATES]
        assert best == sorted(best)
        assert best[-1] == findings.hops[hop, ADAPTIVE].rate_mbit_s[-1]
    assert findings.hops[0, 1024].unavailable_s > findings.hops[0, 4].unavailable_s


def test_weather_alone_takes_no_more_than_weather_with_equipment(prepared, findings):
    for hop in range(3):
        alone, whole = findings.weather[hop, ADAPTIVE], findings.hops[hop, ADAPTIVE]
        assert alone.unavailable_s <= whole.unavailable_s
        assert alone.mean_mbit_s >= whole.mean_mbit_s
        assert alone.rate_mbit_s[-1] == whole.rate_mbit_s[-1]
    assert any(findings.weather[hop, ADAPTIVE].steps > 0 for hop in range(3))
    again = BlockFindings.from_arrow(findings.to_arrow())
    assert again.weather[0, ADAPTIVE].steps == findings.weather[0, ADAPTIVE].steps
    table = study_tables(prepared, [findings, findings], YEARS)["hop_weather"].set_index("hop")
    first = prepared.designs[0].hop.id
    assert table.loc[first, "weather_steps_per_year"] == findings.weather[0, ADAPTIVE].steps / YEARS
    assert (table["weather_below_best_min_per_year"] <= table["below_best_min_per_year"]).all()


def test_steps_count_changes_of_capacity():
    time_s, state = np.array([0.0, 10.0, 20.0, 30.0]), np.array([0, 1, 2, 0], np.int32)
    capacity = np.array([[9.0, 9.0], [9.0, 3.0], [9.0, 3.0]])
    history = HopHistory(time_s, state, capacity, np.array([0, 1, 2]))
    assert hop_finding(history, 100.0).steps == 2


def test_time_along_a_route_sums_and_is_worst_of_its_hops(findings):
    for states, seconds in findings.route_states.values():
        assert seconds.sum() == pytest.approx(YEARS * 31_557_600.0)
        assert set(states.tolist()) <= {0, *(4, 16, 64, 256, 1024)}


def timeline(time_s, state):
    empty = np.zeros((3, 2))
    return HopHistory(np.array(time_s, dtype=float), np.array(state, dtype=np.int32), empty, np.zeros(3, int))


def test_lowest_along_a_chain():
    first = (timeline([0.0, 10.0, 20.0], [2, 1, 2]), np.array([0, 16, 64]))
    second = (timeline([0.0, 15.0, 40.0], [2, 0, 2]), np.array([0, 4, 256]))
    states, seconds = lowest_along([first, second], 100.0)
    assert dict(zip(states.tolist(), seconds.tolist(), strict=True)) == {64: 70.0, 16: 5.0, 0: 25.0}


def test_tables_pair_the_blocks(prepared):
    rate = np.array([0.0, 50.0, 200.0])

    def finding(down_s, low_s, whole_s=2 * 31_557_600.0):
        return Finding(down_s, 0.0, 200.0, rate, np.array([down_s, low_s, whole_s - down_s - low_s]))

    blocks = [
        BlockFindings({(0, 0): finding(x, 1200.0), (0, 64): finding(x + 600.0, 0.0)}, {}, {})
        for x in (6000.0, 60_000.0, 0.0)
    ]
    table = study_tables(prepared, blocks, YEARS)["hops"].set_index("states")
    assert table.loc[64, "difference_min_per_year"] == pytest.approx(5.0)
    assert table.loc[64, "difference_min_per_year_low"] == pytest.approx(5.0)
    assert table.loc[64, "difference_min_per_year_high"] == pytest.approx(5.0)
    assert table.loc[0, "unavailable_min_per_year_high"] > 2 * table.loc[0, "unavailable_min_per_year"]
    assert table.loc[64, "adaptive_below_min_per_year"] == pytest.approx((22_000.0 + 1200.0) / 120.0)
    assert table.loc[64, "below_best_min_per_year"] == pytest.approx(22_600.0 / 120.0)
    assert table.loc[0, "below_best_min_per_year"] == table.loc[64, "adaptive_below_min_per_year"]
    assert table.loc[64, "mbit_s_99"] == 200.0
    assert table.loc[64, "mbit_s_99_99"] == 0.0


def test_a_study_of_one_hop_leaves_services_alone(prepared):
    request = RunRequest(years=2, seed=1, block_years=1)
    tables = modulation_study(prepared, request, hops=["a-c"], states=[64])
    assert set(tables["hops"]["hop"]) == {"a-c"}
    assert tables["hops"]["states"].tolist() == [0, 64]
    assert tables["services"].empty
    for _, curve in tables["hop_curves"].groupby("states"):
        assert curve["exceeded_share"].iloc[-1] == pytest.approx(1.0)
        assert curve["mbit_s"].is_monotonic_decreasing


def test_unknown_hops_and_modulations_are_refused(prepared):
    request = RunRequest(years=1, seed=1, block_years=1)
    with pytest.raises(InputError, match='--hop is "a-d"; must be all or a hop id: a-b, a-c, c-b'):
        modulation_study(prepared, request, hops=["a-d"])
    with pytest.raises(InputError, match="--states is 65; must be one of 4, 16"):
        modulation_study(prepared, request, states=[65])


def test_channels_are_at_the_modulations_that_the_run_counts(prepared, findings):
    """The same figures as the tally of a run, which counts them by another way."""
    history = BlockSimulator(prepared).simulate(SEED, 0, YEARS)
    for hop, (states, seconds) in findings.hop_states.items():
        counts = channels_at_level(history.hops[hop], len(states) - 1).sum(axis=1)
        spent = np.diff(np.append(history.hops[hop].time_s, history.duration_s))
        expected = np.bincount(history.hops[hop].state, weights=spent, minlength=len(counts)) @ counts
        np.testing.assert_allclose(seconds, expected, rtol=1e-9, atol=1e-3)
        assert states.tolist() == [0, *prepared.designs[hop].steps.states]


def test_what_services_lack_is_what_they_ask_less_what_they_get(prepared, findings):
    seconds = YEARS * SECONDS_PER_YEAR
    for (number, states), (_, megabits) in findings.undelivered.items():
        demand = prepared.demands[number]
        got = findings.services[number, states].mean_mbit_s
        assert megabits[:, 0].sum() == pytest.approx(2 * (demand.peak_mbit_s - got) * seconds, abs=1.0)
        assert np.all(megabits[:, 1] <= megabits[:, 0])


def test_undelivered_table_by_priority_pairs_with_adaptive(prepared, findings):
    table = study_tables(prepared, [findings, findings], YEARS)["undelivered"]
    sums = table[table["cause"] == "all"].set_index(["states", "priority"])
    parts = table[table["cause"] != "all"].groupby(["states", "priority"])
    name = "undelivered_mbit_per_year"
    for key, row in sums.iterrows():
        assert row[name] == pytest.approx(parts[name].sum().get(key, 0.0))
        assert row[f"difference_{name}"] == pytest.approx(row[name] - sums.loc[(ADAPTIVE, key[1]), name])
    level = prepared.demands[0].priority
    assert sums.loc[(4, level), name] > sums.loc[(ADAPTIVE, level), name]


def test_findings_are_stored_and_read_again(findings):
    back = BlockFindings.from_arrow(findings.to_arrow())
    for name in ("hops", "services"):
        assert list(getattr(back, name)) == list(getattr(findings, name))
        for key, found in getattr(findings, name).items():
            for part in fields(Finding):
                np.testing.assert_array_equal(
                    getattr(getattr(back, name)[key], part.name), getattr(found, part.name)
                )
    for name in ("hop_states", "route_states", "undelivered"):
        assert list(getattr(back, name)) == list(getattr(findings, name))
        for key, pair in getattr(findings, name).items():
            for one, other in zip(getattr(back, name)[key], pair, strict=True):
                np.testing.assert_array_equal(one, other)


def test_the_verb_prints_and_stores(tmp_path, capsys):
    network, out = write(tmp_path, source_of(triangle()).raw), tmp_path / "study"
    words = ["modulation", str(network), "--block-years", "1", "--workers", "1"]
    assert main([*words, "--years", "1", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "hops: capacity, fixed modulation against adaptive" in said
    assert "hops: share of channel time in each modulation" in said
    assert "services: rate, every hop fixed" in said
    assert "services: share of time" in said
    assert "not delivered, both directions together, by priority" in said
    stored = pd.read_parquet(out / "tables" / "hops.parquet")
    assert set(stored["states"]) == {0, 4, 16, 64, 256, 1024}
    assert (out / "study.json").is_file()
    lines = "".join(said.split())
    assert f"{out}/figures/hops.png:capacityagainstavailabilityof3hops" in lines
    assert {each.name for each in (out / "figures").iterdir()} == FIGURES
    assert main([*words, "--years", "1", "--out", str(out)]) == 2
    assert "output folder is in use" in capsys.readouterr().err
    assert main(["report", str(out)]) == 0
    assert capsys.readouterr().out == f"{out / 'report.html'}\n"
    page = (out / "report.html").read_text()
    assert "Fixed at 1024 states instead of adaptive, 3 hops together would have" in page
    assert page.count("<figure>") == len(FIGURES)
    assert main(["explain", str(out), "--service", "x"]) == 2
    assert "folder is not a run" in capsys.readouterr().err
    # Years are added, and the study is the one that was never stopped.
    assert main([*words, "--years", "3", "--out", str(out), "--resume"]) == 0
    assert main([*words, "--years", "3", "--out", str(tmp_path / "whole")]) == 0
    for table in (out / "tables").iterdir():
        assert table.read_bytes() == (tmp_path / "whole" / "tables" / table.name).read_bytes()
    for name in FIGURES:
        assert (out / "figures" / name).read_bytes() == (tmp_path / "whole" / "figures" / name).read_bytes()
    capsys.readouterr()
    assert main([*words, "--years", "3", "--states", "64", "--out", str(out), "--resume"]) == 2
    assert "in a study also what it asks" in capsys.readouterr().err
    assert main([*words, "--resume"]) == 2
    assert "--resume is given without --out" in capsys.readouterr().err
