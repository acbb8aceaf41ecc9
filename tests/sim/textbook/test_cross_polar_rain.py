"""Cross-polar interference in rain on co-channel carriers: P.530's P_XPR by hand, and a run against it."""

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.air import cross_polar, rain_attenuation
from hopyears.models.basics.units import MINUTES_PER_YEAR, SECONDS_PER_YEAR
from hopyears.sim.blocks.prepared import ModelOptions, prepare, rain_target_db
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.studies.against import hold_against
from hopyears.sim.textbook.predict import predict_hops

ONLY_RAIN = ModelOptions(multipath=False, failures=False)
FIGURE = "cross-polar in rain"


def crossed(prepared, index=1):
    design = prepared.designs[index]
    return design, HopThresholds(design, prepared.anchors[index], None)


def short_hop(scheme, **more):
    """The 23 GHz hop of the triangle with another scheme."""
    network = triangle()
    changed = network.hops[1].model_copy(update={"scheme": scheme, **more})
    return triangle(hops=(network.hops[0], changed, network.hops[2]))


def test_the_limit_is_that_of_the_recommendation():
    """ITU-R P.530-18, 4.2.2: A_p = 10^((U - C0/I + XPIF)/V), U = 15 + 30 log10 f, V = 22.6 at 23 GHz."""
    design, hop = crossed(prepare(short_hop("2+0 XPIC"), ONLY_RAIN))
    u_db = 15.0 + 30.0 * np.log10(23.0)
    excess_db = u_db - design.steps.required_snr_db + design.radio.canceller_improvement_db
    by_hand = 10.0 ** (excess_db / 22.6)
    assert hop.anchor.anchored(hop.cross_polar_rain_db()) == pytest.approx(by_hand, rel=1e-9)
    assert crossed(prepare(short_hop("2+0 DP"), ONLY_RAIN))[1].cross_polar_rain_db() is None


def test_predict_shows_the_outage_of_the_recommendation():
    """P_XPR = 10^(n - 2), n = (-12.7 + sqrt(161.23 - 4 m))/2, m = 23.26 log10(A_p/(0.12 A_0.01)) <= 40."""
    prepared = prepare(short_hop("2+0 XPIC"), ModelOptions(anchoring=False))
    design = prepared.designs[1]
    rows = predict_hops(prepared).set_index(["hop", "states"]).loc["a-c"]
    a001_db = float(rain_target_db(design, np.array([1e-4]))[0])
    excess_db = 15.0 + 30.0 * np.log10(23.0) - design.steps.required_snr_db
    limit_db = 10.0 ** ((excess_db + design.radio.canceller_improvement_db) / 22.6)
    m = np.minimum(23.26 * np.log10(limit_db / (0.12 * a001_db)), 40.0)
    by_hand = 10.0 ** (0.5 * (-12.7 + np.sqrt(161.23 - 4.0 * m)) - 2.0)
    assert rows["cross_polar_rain_min_per_year"].to_numpy() == pytest.approx(by_hand * MINUTES_PER_YEAR)
    others = predict_hops(prepare(short_hop("2+0 DP"), ModelOptions(anchoring=False)))
    assert (others["cross_polar_rain_min_per_year"] == 0.0).all()


@pytest.mark.slow
def test_a_run_has_the_outage_of_the_recommendation(tmp_path):
    """100 years of a 23 GHz hop without canceller, each modulation within P_XPR's range.

    P_XPR takes the attenuation's law of 0.12 p^-(0.546 + 0.043 log10 p) for every frequency, where 2.4.1 has
    one by frequency: between 0.001 and 0.1 % the two are apart by up to a quarter in time at 23 GHz. The run
    meets 2.4.1 itself within 5 % in dB, or 4 standard errors.
    """
    network = short_hop("2+0 XPIC")
    radio = network.radios[0].model_copy(update={"canceller_improvement_db": 0.0})
    network = network.model_copy(update={"radios": (radio,)})
    network = type(network)(**{name: getattr(network, name) for name in type(network).model_fields})
    request = RunRequest(years=100, seed=4, options=ONLY_RAIN)
    folder = simulate(source_of(network), request, tmp_path / "run")
    compared = hold_against(source_of(network), folder)
    rows = compared[(compared["figure"] == FIGURE) & compared["in_range"]]
    design, hop = crossed(prepare(network, ONLY_RAIN))
    limits_db = dict(zip(design.steps.states, hop.anchor.anchored(hop.cross_polar_rain_db()), strict=True))
    assert len(rows) >= 2
    for _, row in rows.iterrows():
        assert abs(row["ratio"] - 1.0) < 0.25 + 4.0 * row["standard_error"]
        law, near = (
            float(design.rain.precipitation.exceedance(factor * limits_db[row["states"]])) * SECONDS_PER_YEAR
            for factor in (1.0, 0.95)
        )
        allowed = near - law + 4.0 * row["standard_error"] * row["predicted"]
        assert abs(row["simulated"] - law) < allowed
        # Interference less by 3 dB would be seen.
        easier = cross_polar.rain_outage(
            rain_attenuation.attenuation_db(design.rain.law, 1e-4),
            frequency_ghz=23.0,
            required_c_i_db=design.steps.required_snr_db,
            canceller_db=3.0,
        )
        step = list(design.steps.states).index(row["states"])
        assert abs(row["simulated"] / (float(easier[step]) * SECONDS_PER_YEAR) - 1.0) > 0.25
