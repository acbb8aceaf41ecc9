import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from hopyears.models.equipment.lifetimes import Law, LawKind, mean_excess_h, quantiles_h, residual_quantiles_h

LAWS = [
    Law.exponential(350e3),
    Law.weibull(30e3, 3.0),
    Law.weibull(200e3, 0.8),
    Law.lognormal(2.0, 0.5),
    Law.lognormal_of_median(35 / 60, 1.3),
    Law.fixed(6.0),
]
LAW_IDS = [f"{law.kind.name} {law.spread}" for law in LAWS]


def scipy_law(law):
    """The same law in a general library, from textbook parameters."""
    if law.kind is LawKind.EXPONENTIAL:
        return stats.expon(scale=law.mean_h)
    if law.kind is LawKind.WEIBULL:
        return stats.weibull_min(law.spread, scale=law.mean_h / math.gamma(1 + 1 / law.spread))
    return stats.lognorm(law.spread, scale=law.mean_h * math.exp(-(law.spread**2) / 2))


@pytest.mark.parametrize("law", LAWS[:-1], ids=LAW_IDS[:-1])
def test_quantiles_and_mean_agree_with_scipy(law):
    p = np.array([1e-9, 0.01, 0.3, 0.5, 0.9, 1 - 1e-9])
    np.testing.assert_allclose(
        quantiles_h(law.kind, law.mean_h, law.spread, p), scipy_law(law).ppf(p), rtol=1e-9
    )
    assert scipy_law(law).mean() == pytest.approx(law.mean_h, rel=1e-9)


@given(st.sampled_from(LAWS), st.floats(1e-6, 1 - 1e-6))
def test_one_draw_at_a_time_agrees_with_arrays(law, p):
    assert law.quantile_h(p) == pytest.approx(
        float(quantiles_h(law.kind, law.mean_h, law.spread, p)), rel=1e-9
    )


@pytest.mark.parametrize("law", LAWS[:-1], ids=LAW_IDS[:-1])
@pytest.mark.parametrize("p", [0.05, 0.5, 0.95])
def test_residual_life_has_the_integrated_survival_law(law, p):
    # Cox, Renewal Theory (1962), section 5.2: P(residual < t) = integral of S from 0 to t, over the mean.
    t = float(residual_quantiles_h(law.kind, law.mean_h, law.spread, p))
    survived, _ = integrate.quad(scipy_law(law).sf, 0, t, limit=200)
    assert survived / law.mean_h == pytest.approx(p, abs=1e-6)


def test_residual_of_a_fixed_life_is_uniform():
    assert float(residual_quantiles_h(LawKind.FIXED, 8.0, 1.0, 0.25)) == 2.0


@pytest.mark.parametrize("law", LAWS[:-1], ids=LAW_IDS[:-1])
@pytest.mark.parametrize("share", [0.2, 1.0, 3.0])
def test_mean_excess_is_the_integral_of_survival(law, share):
    threshold_h = share * law.mean_h
    beyond, _ = integrate.quad(
        lambda x: scipy_law(law).sf(threshold_h + law.mean_h * x), 0, np.inf, limit=400
    )
    assert mean_excess_h(law, threshold_h) == pytest.approx(law.mean_h * beyond, rel=1e-6)
    assert mean_excess_h(law, 0.0) == pytest.approx(law.mean_h)


def test_mean_excess_of_a_fixed_time():
    assert mean_excess_h(Law.fixed(6.0), 4.0) == 2.0
    assert mean_excess_h(Law.fixed(6.0), 7.0) == 0.0


def test_impossible_laws_are_refused():
    with pytest.raises(ValueError, match="mean_h is -1; must be at least 0"):
        Law.exponential(-1)
    with pytest.raises(ValueError, match="mean_h is nan; must be at least 0"):
        Law.fixed(math.nan)
    with pytest.raises(ValueError, match=r"spread is 0.0; must be above 0"):
        Law.weibull(10.0, 0.0)


def test_lognormal_law_of_a_median():
    law = Law.lognormal_of_median(3.0, 0.8)
    assert law.mean_h == pytest.approx(stats.lognorm(0.8, scale=3.0).mean())
