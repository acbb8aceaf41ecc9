"""P.530's own error as longer weather: by the law of the hop, and of weather alone."""

import numpy as np
import pandas as pd
import pytest
from small_networks import triangle

from hopyears.models.air import rain_attenuation
from hopyears.models.network.network import Service
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.rare.year_tables import YearsMet
from hopyears.sim.studies.method_error import MULTIPATH_ERROR_DB, RAIN_ERROR, rain_factor, weather_factors

SERVICES = (
    Service(id="short", site_a="a", site_b="c", committed_mbit_s=50.0),
    Service(id="far", site_a="c", site_b="b", committed_mbit_s=50.0),
)


@pytest.fixture(scope="module")
def prepared():
    return prepare(triangle(services=SERVICES), ModelOptions(failures=False, anchoring=False))


def causes(*rows):
    return pd.DataFrame(rows, columns=["service", "cause", "unavailable_min_per_year"])


def test_rain_is_longer_by_the_hops_own_law(prepared):
    assert rain_factor(prepared, 0, 0.0) == pytest.approx(1.0)
    design = prepared.designs[1]
    margins = HopThresholds(design, prepared.anchors[1], prepared.nights[1]).nominal_rain_margin_db()
    step = int(np.flatnonzero(design.steps.capacity_mbit_s * design.scheme.working >= 25.0)[0])
    deeper = margins[step] * np.exp(-1.2816 * RAIN_ERROR)
    before, after = rain_attenuation.exceedance(design.rain.law, np.array([margins[step], deeper]))
    assert rain_factor(prepared, 0, 1.2816) == pytest.approx(after / before)
    # At 0.01 % of the year, time goes as about the power 1/0.55 to 1/0.4 of the depth (P.530, 2.4.1).
    assert 1.5 < after / before < 5.0


def test_causes_say_how_much_of_the_weather_is_rain(prepared):
    rain = weather_factors(prepared, causes(("short", "rain", 9.0)), 0.9)
    assert rain[0] == pytest.approx(rain_factor(prepared, 0, 1.2815516))
    fades = weather_factors(prepared, causes(("short", "dispersion + multipath", 9.0)), 0.9)
    assert fades[0] == pytest.approx(10 ** (1.2815516 * MULTIPATH_ERROR_DB / 10.0))
    power = weather_factors(prepared, causes(("short", "power", 9.0)), 0.9)
    assert power[0] == rain[0]


def test_failures_stay_as_they_are():
    years = np.full((2, 1, 12, len(YEAR_FIGURES)), 5.0)
    own = np.full_like(years, 2.0)
    assert (YearsMet(years, own, 1).with_weather(np.array([3.0])).years == 2.0 + 3.0 * 3.0).all()
