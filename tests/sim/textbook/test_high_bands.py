"""70/80 GHz: rain and gases of short hops, light rain too, from the laws to a run."""

import itur
import numpy as np
import pytest
from rain_checks import share_of_years_above
from small_networks import ANTENNAS, RADIO, hop

from hopyears.models.air.rain_attenuation import coefficients
from hopyears.models.network.network import Network, Site
from hopyears.sim.blocks.block import hop_line
from hopyears.sim.blocks.prepared import ModelOptions, prepare, rain_target_db
from hopyears.sim.climate import gas_db_per_km
from hopyears.sim.rain.rain_kernel import rain_knots
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.streams import Streams
from hopyears.sim.textbook.predict import predict_hops

FRACTIONS = np.array([1e-2, 3e-3, 1e-3, 1e-4, 1e-5])


def town(frequency_ghz, north_deg=0.02, **more):
    """One hop of 2.2 km (or more) on a plain at 45 N."""
    sites = (
        Site(id="a", latitude_deg=45.0, longitude_deg=11.0),
        Site(id="b", latitude_deg=45.0 + north_deg, longitude_deg=11.0),
    )
    return Network(
        title="town",
        sites=sites,
        hops=(hop("x", "a", "b", frequency_ghz, channel_width_mhz=500.0, **more),),
        radios=(RADIO,),
        antennas=ANTENNAS,
    )


@pytest.mark.parametrize("tilt_deg", [0.0, 90.0])
@pytest.mark.parametrize("frequency_ghz", [71.0, 73.5, 76.0, 81.0, 83.5, 86.0])
def test_specific_attenuation_agrees_with_the_general_library(frequency_ghz, tilt_deg):
    """ITU-R P.838-3 as in the library itur (its coefficients for an elevation of 0 degrees)."""
    k, alpha = coefficients(frequency_ghz, polarisation_tilt_deg=tilt_deg)
    wanted = itur.models.itu838.rain_specific_attenuation_coefficients(frequency_ghz, 0.0, tilt_deg)
    assert (float(k), float(alpha)) == pytest.approx([float(value) for value in wanted], rel=1e-6)


@pytest.mark.parametrize(("frequency_ghz", "lowest", "highest"), [(71.0, 0.40, 0.60), (81.0, 0.28, 0.50)])
def test_gases_take_what_they_take_near_the_ground(frequency_ghz, lowest, highest):
    """ITU-R P.676-12 at 1013 hPa, 15 degrees and 7.5 g/m3: 0.46 dB/km at 71 GHz, 0.34 at 81 GHz."""
    prepared = prepare(town(frequency_ghz), ModelOptions(anchoring=False))
    (design,) = prepared.designs
    assert lowest < design.levels.gas_loss_db / design.path.length_km < highest
    by_climate = gas_db_per_km(frequency_ghz, design.climate) * design.path.length_km
    assert (predict_hops(prepared)["gas_loss_db"] == by_climate).all()
    lower_band = prepare(town(38.0), ModelOptions(anchoring=False)).designs[0]
    assert design.levels.gas_loss_db > 2.5 * lower_band.levels.gas_loss_db


def test_a_modulation_that_light_rain_takes_is_lost_for_a_per_cent_of_the_year():
    prepared = prepare(town(80.0, 0.05, transmit_power_dbm=8.0), ModelOptions(anchoring=False))
    table = predict_hops(prepared)
    highest = table.iloc[-1]
    assert 0.0 < highest["rain_margin_db"] < 12.0
    assert highest["rain_min_per_year"] > 0.001 * 525_960.0


@pytest.mark.slow
@pytest.mark.parametrize("frequency_ghz", [73.5, 83.5])
def test_a_run_meets_the_law_from_one_per_cent_on(frequency_ghz):
    """100 years against ITU-R P.530-18, 2.4.1 at 1 to 0.001 %: within 5 % in dB, or 4 standard errors."""
    prepared = prepare(town(frequency_ghz), ModelOptions(multipath=False, failures=False))
    (design,), (anchor,) = prepared.designs, prepared.anchors
    levels_db = rain_target_db(design, FRACTIONS)
    raw_db = anchor.raw(levels_db)
    yearly = []
    for block in range(10):
        field = draw_storms(
            Streams(51, block), prepared.weather, prepared.region, n_years=10, storms=prepared.storms
        )
        knots = rain_knots(field, hop_line(design), lowest_threshold_db=0.9 * float(raw_db[0]))
        yearly.append([share_of_years_above(knots, level_db, 10) for level_db in raw_db])
    years = np.concatenate(yearly, axis=1)
    mean, error = years.mean(axis=1), years.std(axis=1, ddof=1) / np.sqrt(years.shape[1])
    allowed = design.rain.precipitation.exceedance(0.95 * levels_db) - FRACTIONS + 4.0 * error
    assert np.all(np.abs(mean - FRACTIONS) < allowed)
    wrong = design.rain.precipitation.exceedance(0.8 * levels_db)
    assert np.any(np.abs(mean - wrong) > allowed)
