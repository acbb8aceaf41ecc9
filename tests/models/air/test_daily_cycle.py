"""Daily cycle of showers, against what is published of it."""

import numpy as np
import pytest

from hopyears.models.air.daily_cycle import shower_cycle

WARM, COLD = {45.0: (5, 6, 7), -45.0: (11, 0, 1)}, {45.0: (11, 0, 1), -45.0: (5, 6, 7)}


@pytest.mark.parametrize("latitude_deg", [45.0, -45.0])
def test_warm_land_has_its_showers_in_the_afternoon(latitude_deg):
    """Dai, Lin, Hsu 2007 (Climate Dynamics 29, 727): 30 to 100 % over land in summer; Zhou et al. 2008
    (Journal of Climate 21, 3997): 15 to 19 h, much weaker in the cold season."""
    cycle = shower_cycle(latitude_deg, 1.0)
    warm, cold = cycle[list(WARM[latitude_deg])], cycle[list(COLD[latitude_deg])]
    assert np.all((warm[:, 0] > 0.3) & (warm[:, 0] <= 1.0))
    assert np.all((warm[:, 1] >= 15.0) & (warm[:, 1] <= 19.0))
    assert cold[:, 0].mean() < 0.6 * warm[:, 0].mean()


@pytest.mark.parametrize("latitude_deg", [0.0, 10.0, -20.0])
def test_tropical_land_has_them_all_year(latitude_deg):
    """Dai 2001 (Journal of Climate 14, 1112): showers over land above 50 % of their mean."""
    assert shower_cycle(latitude_deg, 1.0)[:, 0].min() > 0.45


@pytest.mark.parametrize("latitude_deg", [0.0, 45.0])
def test_the_sea_has_a_weak_peak_before_dawn(latitude_deg):
    """Dai, Lin, Hsu 2007: 10 to 30 %, midnight to early morning; Imaoka, Spencer 2000 (Journal of Climate 13,
    4149): 14 % over tropical oceans, 4 to 7 h."""
    cycle = shower_cycle(latitude_deg, 0.0)
    assert np.all((cycle[:, 0] >= 0.1) & (cycle[:, 0] <= 0.3))
    assert np.all((cycle[:, 1] >= 4.0) & (cycle[:, 1] <= 7.0))


def test_a_coast_has_the_sum_of_both():
    hours = np.arange(24.0)
    cycles = (shower_cycle(30.0, share)[6] for share in (1.0, 0.0, 0.25))
    land, sea, coast = (size * np.cos(2.0 * np.pi * (hours - peak) / 24.0) for size, peak in cycles)
    np.testing.assert_allclose(coast, 0.25 * land + 0.75 * sea, atol=1e-12)
