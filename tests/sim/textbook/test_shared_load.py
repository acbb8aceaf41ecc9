"""Hops of a bundle on the sheet: they carry a rate together, held to plain probability arithmetic."""

import pandas as pd
import pytest

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.textbook.shared_load import link_minutes


def steps(capacity, rain=(0.0, 0.0), multipath=(0.0, 0.0), equipment=0.0):
    """Two modulations of a hop; shares of the year."""
    columns = {"capacity_mbit_s": capacity, "rain_min_per_year": rain, "multipath_min_per_year": multipath}
    frame = pd.DataFrame(columns).astype(float)
    frame["equipment_min_per_year"] = equipment
    frame.iloc[:, 1:] *= MINUTES_PER_YEAR
    return frame


def shares(*hops, rate):
    return link_minutes(hops, rate) / MINUTES_PER_YEAR


def test_either_of_two_is_a_product_and_both_of_two_is_not():
    """Series and parallel arithmetic of reliability handbooks (from memory: IEC 61078)."""
    p, q = steps((100, 200), equipment=0.01), steps((100, 200), equipment=0.02)
    assert shares(p, q, rate=200.0)[2] == pytest.approx(0.01 * 0.02)
    assert shares(p, q, rate=201.0)[2] == pytest.approx(1.0 - 0.99 * 0.98)
    assert shares(p, q, rate=401.0).tolist() == [1.0, 0.0, 0.0]
    assert shares(p, rate=150.0)[2] == 0.01


def test_two_of_three_is_the_binomial_sum():
    hops = [steps((100, 200), equipment=0.1)] * 3
    assert shares(*hops, rate=400.0)[2] == pytest.approx(3 * 0.1**2 * 0.9 + 0.1**3)
    many = [steps((100, 200), equipment=0.1)] * 5  # five down is beyond the states looked at
    assert shares(*many, rate=1.0)[2] == pytest.approx(1.0 - sum(_binomial(5, k) for k in range(4)))


def _binomial(n, k):
    from math import comb

    return comb(n, k) * 0.1**k * 0.9 ** (n - k)


def test_rain_takes_hops_side_by_side_at_one_time():
    weak, strong = steps((100, 200), rain=(0.002, 0.01)), steps((100, 200), rain=(0.001, 0.004))
    assert shares(weak, strong, rate=100.0)[0] == 0.001  # until the stronger one has lost all
    assert shares(weak, strong, rate=200.0)[0] == 0.002  # both at their lowest, or the stronger one whole
    assert shares(weak, strong, rate=300.0)[0] == 0.004
    assert shares(weak, strong, rate=400.0)[0] == 0.01


def test_fades_count_by_the_graver_of_together_and_apart():
    p = steps((100, 200), multipath=(0.001, 0.002))
    assert shares(p, p, rate=200.0)[1] == pytest.approx(0.001)  # together graver than 0.001**2 and the like
    assert shares(p, p, rate=400.0)[1] == pytest.approx(1.0 - 0.998**2)  # apart graver than 0.002
    assert shares(p, rate=200.0)[1] == 0.002
