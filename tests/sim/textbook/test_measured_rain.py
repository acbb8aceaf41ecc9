"""Measured percentiles of a hop's rain attenuation: a run meets them, and without anchoring does not."""

import numpy as np
import pytest
from rain_checks import share_of_years_above
from small_networks import hop, triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.block import hop_line
from hopyears.sim.blocks.prepared import ModelOptions, prepare, rain_target_db
from hopyears.sim.rain.anchoring import IDENTITY
from hopyears.sim.rain.rain_kernel import rain_knots
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.streams import Streams

MEASURED = {"0.1": 9.0, "0.03": 17.0, "0.01": 30.0, "0.003": 44.0, "0.001": 58.0}
FRACTIONS = np.array([float(percent) / 100.0 for percent in MEASURED])
LEVELS_DB = np.array(list(MEASURED.values()))


def measured(**options):
    network = triangle()
    own = hop("a-c", "a", "c", 23.0, rain_exceedance_db=MEASURED)
    network = triangle(hops=(network.hops[0], own, network.hops[2]))
    return prepare(network, ModelOptions(multipath=False, failures=False, **options))


def yearly_shares(prepared, raw_db, n_blocks=10, n_years=10):
    """Fraction of each year of 100 with more raw attenuation on the hop than each level."""
    line, found = hop_line(prepared.designs[1]), []
    for block in range(n_blocks):
        streams = Streams(61, block)
        field = draw_storms(
            streams, prepared.weather, prepared.region, n_years=n_years, storms=prepared.storms
        )
        knots = rain_knots(field, line, lowest_threshold_db=0.9 * float(raw_db.min()))
        found.append([share_of_years_above(knots, level_db, n_years) for level_db in raw_db])
    return np.concatenate(found, axis=1)


def test_the_target_is_what_was_measured_and_the_law_goes_on_beyond():
    design = measured().designs[1]
    assert rain_target_db(design, FRACTIONS) == pytest.approx(LEVELS_DB, rel=1e-9)
    beyond = rain_target_db(design, np.array([1e-2, 1e-6]))
    ratio = beyond / design.rain.precipitation.attenuation_db([1e-2, 1e-6])
    ends = LEVELS_DB[[0, -1]] / design.rain.precipitation.attenuation_db(FRACTIONS[[0, -1]])
    assert ratio == pytest.approx(ends, rel=1e-2)


def test_off_on_request():
    assert all(anchor is IDENTITY for anchor in measured(anchoring=False).anchors)


@pytest.mark.slow
def test_a_run_meets_what_was_measured():
    """100 years: within 5 % in dB at 0.1 to 0.001 % of the year, or 4 standard errors; not without anchor."""
    prepared = measured()
    design, anchor = prepared.designs[1], prepared.anchors[1]
    fine = np.geomspace(1e-6, 1e-2, 400)
    curve = rain_target_db(design, fine)

    def allowed(years):
        easier = np.exp(np.interp(-0.95 * LEVELS_DB, -curve, np.log(fine)))
        return easier - FRACTIONS + 4.0 * years.std(axis=1, ddof=1) / np.sqrt(years.shape[1])

    years = yearly_shares(prepared, anchor.raw(LEVELS_DB))
    assert years.shape[1] * SECONDS_PER_YEAR > 3e9
    assert np.all(np.abs(years.mean(axis=1) - FRACTIONS) < allowed(years))
    plain = yearly_shares(prepared, LEVELS_DB)
    assert np.any(np.abs(plain.mean(axis=1) - FRACTIONS) > allowed(plain))
