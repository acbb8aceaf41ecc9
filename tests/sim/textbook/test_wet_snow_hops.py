"""Wet snow from the network file to the timeline: hops by height, the option, a run against the law."""

import numpy as np
import pytest
from network_text import small, write
from small_networks import ANTENNAS, RADIO, hop, source_of

from hopyears.models.air import rain_attenuation
from hopyears.models.network.network import ClimateChange, Network, Site
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands import main
from hopyears.sim.counting.fading_tally import FADING, RAIN
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.studies.against import hold_against
from hopyears.sim.textbook.fading import rain_exceedance
from hopyears.sim.textbook.predict import predict_hops

ONLY_RAIN = ModelOptions(multipath=False, failures=False)
ALPS_M = 2500.0


def mountain(ground_m=ALPS_M, rain_height_m=3000.0, **climate):
    """One 18 GHz hop of 11 km on level ground of a height, beneath a rain height of the user's."""
    sites = (
        Site(id="a", latitude_deg=46.0, longitude_deg=8.0, ground_height_m=ground_m),
        Site(id="b", latitude_deg=46.1, longitude_deg=8.0, ground_height_m=ground_m),
    )
    return Network(
        title="mountain",
        sites=sites,
        hops=(hop("x", "a", "b", 18.0),),
        radios=(RADIO,),
        antennas=ANTENNAS,
        climate=ClimateChange(rain_height_m=rain_height_m, rain_rate_001_mm_h=30.0, **climate),
    )


def test_hops_meet_what_their_height_says():
    kinds = [design_hops(mountain(ground_m))[0].rain.precipitation.kind for ground_m in (0.0, ALPS_M, 5900.0)]
    assert kinds == ["rain and wet snow", "rain and wet snow", "dry snow"]
    assert design_hops(mountain(0.0, 4800.0))[0].rain.precipitation.kind == "rain"


def test_the_rain_height_is_that_of_the_maps_unless_told():
    (design,) = design_hops(mountain(rain_height_m=None))
    assert design.climate.rain_height_m == pytest.approx(3300.0, abs=400.0)
    assert design_hops(mountain(rain_height_m=1234.0))[0].climate.rain_height_m == 1234.0


def test_a_hop_below_the_snow_and_one_without_the_option_have_the_law_of_rain():
    for network in (mountain(0.0, 4800.0), mountain(wet_snow=False)):
        prepared = prepare(network, ModelOptions(anchoring=False))
        (design,) = prepared.designs
        table = predict_hops(prepared)
        assert (table["with_wet_snow_001_db"] == table["rain_attenuation_001_db"]).all()
        for margin_db in (3.0, 20.0, 40.0):
            assert rain_exceedance(design, margin_db) == float(
                rain_attenuation.exceedance(design.rain.law, margin_db)
            )


def test_predict_shows_rain_and_wet_snow():
    table = predict_hops(prepare(mountain(), ModelOptions(anchoring=False)))
    without = predict_hops(prepare(mountain(wet_snow=False), ModelOptions(anchoring=False)))
    assert (table["rain_attenuation_001_db"] == without["rain_attenuation_001_db"]).all()
    ratio = table["with_wet_snow_001_db"] / table["rain_attenuation_001_db"]
    assert (ratio > 1.4).all()
    assert (table["rain_min_per_year"] > without["rain_min_per_year"]).all()


def test_measured_percentiles_hold_their_own_snow():
    measured = {"rain_exceedance_db": {"0.1": 8.0, "0.01": 25.0}}
    networks = [
        network.model_copy(update={"hops": (network.hops[0].model_copy(update=measured),)})
        for network in (mountain(), mountain(wet_snow=False))
    ]
    with_snow, without = (
        prepare(Network(**{name: getattr(network, name) for name in Network.model_fields}))
        for network in networks
    )
    assert np.array_equal(with_snow.anchors[0].anchored_db, without.anchors[0].anchored_db)
    assert rain_exceedance(with_snow.designs[0], 25.0) == pytest.approx(1e-4, rel=1e-3)


def seconds_of_rain(network, n_blocks, n_years=10):
    """Seconds a year beyond the margin of each modulation, shape (n_blocks, M)."""
    simulator = BlockSimulator(prepare(network, ONLY_RAIN))
    most = len(simulator.prepared.designs[0].steps)
    found = []
    for block in range(n_blocks):
        table = simulator.simulate(5, block, n_years).fading
        found.append(table.spread("seconds", (RAIN + 1, most), entity=0)[RAIN] / n_years)
    assert FADING.values[0] == "seconds"
    return np.array(found)


def test_in_dry_snow_nothing_is_lost():
    assert not seconds_of_rain(mountain(5900.0), 1, 2).any()
    assert seconds_of_rain(mountain(0.0, 4800.0), 1, 2).any()


@pytest.mark.slow
def test_a_run_has_the_law_of_rain_and_wet_snow(tmp_path):
    """100 years against P.530-18, 2.4.2: within 5 % in dB or 4 standard errors; rain alone is refused."""
    request = RunRequest(years=100, seed=3, options=ONLY_RAIN)
    folder = simulate(source_of(mountain()), request, tmp_path / "run")
    rain = hold_against(source_of(mountain()), folder)
    rain = rain[(rain["figure"] == "rain") & rain["in_range"]]
    prepared = prepare(mountain(), ModelOptions(anchoring=False))
    (design,) = prepared.designs
    margins = predict_hops(prepared).set_index("states")["rain_margin_db"]
    assert len(rain) >= 2
    for _, row in rain.iterrows():
        margin_db = margins[row["states"]]
        tolerance = float(design.rain.precipitation.exceedance(0.95 * margin_db)) * 31_557_600.0
        allowed = tolerance / row["predicted"] - 1.0 + 4.0 * row["standard_error"]
        assert abs(row["ratio"] - 1.0) < allowed
        of_rain = float(rain_attenuation.exceedance(design.rain.law, margin_db)) * 31_557_600.0
        assert abs(of_rain / row["predicted"] - 1.0) > allowed


def test_check_says_what_each_hop_meets(tmp_path, capsys):
    raw = small()
    assert main(["check", str(write(tmp_path, raw))]) == 0
    shown = capsys.readouterr().out
    assert "rain and wet snow on 3, rain alone on 0" in shown
