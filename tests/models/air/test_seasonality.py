import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import cases
from scipy.integrate import quad
from scipy.stats import norm

from hopyears.models.air import seasonality

TABLE = "p841_p678_p618_p1853"


@pytest.mark.parametrize("row", [*cases(TABLE, "Q"), *cases(TABLE, "pw")])
def test_worst_month(row):
    fraction = row["inputs"]["p_percent"] / 100
    ratio, worst = seasonality.worst_month_ratio(fraction), seasonality.worst_month_probability(fraction)
    found = ratio if row["quantity"] == "Q" else 100 * worst
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def test_worst_month_is_never_less_than_the_year_nor_more_than_itself():
    fraction = np.logspace(-9, 0, 2000)
    worst = seasonality.worst_month_probability(fraction)
    assert np.all(worst >= fraction * (1 - 1e-12))
    assert np.all(worst <= np.minimum(12 * fraction, 1.0) * (1 + 1e-12))
    assert np.all(np.diff(worst) > 0)
    assert worst[-1] == pytest.approx(1.0)


@pytest.mark.parametrize("row", [*cases(TABLE, "rho_rain_occurrence"), *cases(TABLE, "rho_attenuation")])
def test_correlation_with_distance(row):
    laws = {
        "rho_rain_occurrence": seasonality.rain_occurrence_correlation,
        "rho_attenuation": seasonality.attenuation_correlation,
    }
    found = laws[row["quantity"]](row["inputs"]["d_km"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, "joint_exceedance"))
def test_two_sites(row):
    sites = row["inputs"]
    alone = sites["P0"] * norm.sf((np.log(sites["A_dB"]) - sites["m_lnA"]) / sites["sigma_lnA"])
    both_wet = seasonality.bivariate_exceedance(
        sites["P0"], sites["P0"], seasonality.rain_occurrence_correlation(sites["d_km"])
    )
    given_rain = alone / sites["P0"]
    found = both_wet * seasonality.bivariate_exceedance(
        given_rain, given_rain, seasonality.attenuation_correlation(sites["d_km"])
    )
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def integrated(p, q, rho):
    """Second opinion: the conditional tail integrated over the first variable."""
    h, k = -norm.ppf(p), -norm.ppf(q)

    def conditional(x):
        return norm.pdf(x) * norm.sf((k - rho * x) / np.sqrt(1 - rho**2))

    return quad(conditional, h, h + 12, epsabs=0, epsrel=1e-11, limit=400, points=[h + 0.1, h + 0.5, h + 1])[
        0
    ]


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.8, 0.95, 0.999])
@pytest.mark.parametrize(("p", "q"), [(0.05, 0.05), (1e-4, 1e-4), (1e-7, 1e-7), (1e-3, 1e-6), (0.7, 0.4)])
def test_bivariate_tail_against_an_integral(p, q, rho):
    assert seasonality.bivariate_exceedance(p, q, rho) == pytest.approx(integrated(p, q, rho), rel=1e-8)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_bivariate_tail_lies_between_independence_and_the_smaller(p, q, rho):
    joint = float(seasonality.bivariate_exceedance(p, q, rho))
    assert p * q * (1 - 1e-9) <= joint <= min(p, q) * (1 + 1e-12)
    assert joint == pytest.approx(float(seasonality.bivariate_exceedance(q, p, rho)), rel=1e-9, abs=1e-300)


def test_bivariate_tail_at_its_ends():
    ends = seasonality.bivariate_exceedance([0.0, 1.0, 0.2, 0.2], [0.3, 0.3, 0.1, 0.1], [0.5, 0.5, 0.0, 1.0])
    assert ends == pytest.approx([0.0, 0.3, 0.02, 0.1])
