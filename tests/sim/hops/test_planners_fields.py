"""What a planner may state of a hop changes what it stands, by just that much."""

import numpy as np
import pytest
from network_text import small, write
from small_networks import ANTENNAS, RADIO, hop, triangle

from hopyears.models.air import multipath
from hopyears.models.network.network import Antenna, ClimateChange
from hopyears.models.network.network_rules import RULES
from hopyears.models.radio.wet_antenna import wet_antenna_loss_db
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.rain.anchoring import IDENTITY
from hopyears.sim.textbook.fading import fading_outage
from hopyears.sim.textbook.predict import predict_hops

BARE = ModelOptions(rain=False, anchoring=False)


def long_hop(frequency_ghz=7.0, scheme="1+0", **fields):
    return hop("a-b", "a", "b", frequency_ghz, scheme, antenna="large", **fields)


def designed(radio=RADIO, antennas=ANTENNAS, climate=None, **fields):
    """Design of the 39 km hop with some of its fields stated."""
    more = {"climate": climate} if climate else {}
    network = triangle(hops=(long_hop(**fields),), services=(), radios=(radio,), antennas=antennas, **more)
    return design_hops(network)[0]


def night_law_of(**fields):
    return prepare(triangle(hops=(long_hop(**fields),), services=()), BARE)


def test_losses_of_ends_and_path_lower_every_margin_by_their_sum():
    plain = designed().levels
    lossy = designed(fixed_loss_a_db=1.5, fixed_loss_b_db=0.25, fixed_loss_path_db=3.0).levels
    assert plain.received_level_dbm - lossy.received_level_dbm == pytest.approx(4.75)
    assert plain.margin_db - lossy.margin_db == pytest.approx(4.75)
    assert lossy.fixed_loss_db == 4.75


def test_interference_raises_thresholds_and_leaves_levels():
    plain, disturbed = designed().levels, designed(threshold_degradation_db=2.0).levels
    assert disturbed.threshold_dbm - plain.threshold_dbm == pytest.approx(2.0)
    assert plain.margin_db - disturbed.margin_db == pytest.approx(2.0)
    assert np.array_equal(plain.received_level_dbm, disturbed.received_level_dbm)


def test_power_control_changes_clear_air_and_no_margin():
    """Range and the margin to be left both bound it: 0 below the margin, the whole range far above it."""

    def levels(range_db, **fields):
        radio = RADIO.model_copy(update={"power_control_range_db": range_db, "power_control_margin_db": 6.0})
        return designed(radio=radio, **fields).levels

    full = designed().levels
    highest_db = float(full.margin_db[0, -1])
    assert highest_db > 6.0
    assert levels(0.0).power_reduction_db == 0.0
    assert levels(2.0).power_reduction_db == 2.0
    assert levels(40.0).power_reduction_db == pytest.approx(highest_db - 6.0)
    assert np.array_equal(levels(40.0).margin_db, full.margin_db)
    out_of_reach = levels(40.0, fixed_loss_path_db=highest_db + 1.0)
    below_db = float(out_of_reach.margin_db[0, -2])
    assert out_of_reach.power_reduction_db == pytest.approx(max(below_db - 6.0, 0.0))


def test_wet_antennas_take_their_loss_off_what_rain_may_take_and_nothing_else():
    wet = (ANTENNAS[0], Antenna(id="large", diameter_m=2.4, wet_loss_db=1.5))
    dry, hop_design = designed(), designed(antennas=wet)
    assert np.array_equal(dry.levels.margin_db, hop_design.levels.margin_db)
    margin_db = dry.levels.margin_db[0]
    stands_db = HopThresholds(hop_design, IDENTITY, None).nominal_rain_margin_db()
    assert stands_db == pytest.approx(margin_db - wet_antenna_loss_db(margin_db, 3.0))
    rain = [fading_outage(HopThresholds(one, IDENTITY, None), 0).rain for one in (dry, hop_design)]
    assert rain[1] > 1.05 * rain[0]


def test_wet_antennas_leave_the_limit_by_cross_polar_interference_as_it_is():
    wet = (ANTENNAS[0], Antenna(id="large", diameter_m=2.4, wet_loss_db=1.5))
    radio = RADIO.model_copy(update={"canceller_improvement_db": 0.0})
    found = [
        HopThresholds(
            designed(radio=radio, antennas=antennas, scheme="2+0 XPIC"), IDENTITY, None
        ).nominal_rain_margin_db()
        for antennas in (ANTENNAS, wet)
    ]
    assert (found[1] <= found[0]).all()
    assert found[0][0] - found[1][0] > 2.0  # noise limits the lowest modulation
    assert found[0][1:] - found[1][1:] == pytest.approx(0.0, abs=0.3)  # interference the others


def test_edition_18_is_asked_for_by_the_file():
    climate = ClimateChange(multipath_edition=18)
    design = designed(climate=climate, geoclimatic_factor=2e-5, refractivity_75=60.0, mean_terrain_m=5.0)
    wanted = multipath.worst_month_occurrence_ed18(
        2e-5,
        path_length_km=design.path.length_km,
        frequency_ghz=7.0,
        first_antenna_m=50.0,
        second_antenna_m=55.0,
        mean_terrain_m=5.0,
        refractivity_75=60.0,
    )
    assert design.multipath.occurrence == pytest.approx(float(wanted))
    assert designed(geoclimatic_factor=2e-5).multipath.occurrence != design.multipath.occurrence
    grounds = designed(climate=climate, geoclimatic_factor=2e-5, refractivity_75=60.0)
    assert grounds.path.mean_terrain_m == 22.5


def test_edition_18_asks_for_what_its_maps_hold():
    climate = ClimateChange(multipath_edition=18)
    network = triangle(hops=(long_hop(geoclimatic_factor=2e-5),), services=(), climate=climate)
    told = [fault.sentence() for rule in RULES for fault in rule(network)]
    assert told == [
        "hop \"a-b\": refractivity_75 is not given; must be dN75 of P.530-18's map at the hop's middle, "
        "with multipath_edition 18"
    ]


MEASURED = {"0.1": 14.0, "0.01": 27.0, "0.001": 36.0}


def test_measured_multipath_is_what_predict_and_nights_give():
    """At the measured points the share of the worst month is the measured one; deeper, 10 dB a decade."""
    prepared = night_law_of(multipath_exceedance_db=MEASURED)
    law = prepared.designs[0].multipath
    depth_db = np.array([14.0, 27.0, 36.0])
    share = multipath.exceedance(law.occurrence, law.depth_of_law_db(depth_db))
    assert share == pytest.approx([1e-3, 1e-4, 1e-5], rel=1e-6)
    assert law.depth_db(law.depth_of_law_db(depth_db + 0.7)) == pytest.approx(depth_db + 0.7)
    assert multipath.exceedance(law.occurrence, law.depth_of_law_db(46.0)) == pytest.approx(1e-6, rel=1e-6)
    nights = prepared.nights[0]
    by_law = nights.depth_map.raw_threshold(depth_db)[1]
    deep_share = nights.occurrence_worst * by_law  # each raw depth counts as its share of the worst month
    assert deep_share == pytest.approx([1e-3, 1e-4, 1e-5], rel=0.03)


def test_measured_multipath_reaches_the_prediction():
    one = predict_hops(night_law_of(multipath_exceedance_db=MEASURED)).iloc[0]
    other = predict_hops(night_law_of()).iloc[0]
    assert one["multipath_min_per_year"] != pytest.approx(other["multipath_min_per_year"], rel=0.1)
    law = night_law_of(multipath_exceedance_db=MEASURED).designs[0].multipath
    wanted = multipath.exceedance(law.occurrence, law.depth_of_law_db(one["margin_db"]))
    assert one["flat_worst_month"] == pytest.approx(float(wanted))


def test_an_edition_that_is_none_is_refused_in_numbers(tmp_path):
    path = write(tmp_path, small() | {"climate": {"multipath_edition": 16}})
    with pytest.raises(InputError, match="multipath_edition is 16; must be one of 17, 18"):
        read_network(path)
