"""The law of a year from weather, histories of failures and failures put in: against a law that is known."""

import numpy as np
import pytest

from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.rare import year_law, year_tables
from hopyears.sim.rare.year_law import Measure, YearLaw
from hopyears.sim.rare.year_tables import Draws, YearsMet

BLOCK_YEARS, BLOCKS, HISTORIES, PUT_IN = 5, 10, 4, 2
RARE_PER_YEAR, RARE_S = 0.02, 500.0
SECONDS = Measure((("unavailable_s", 1.0),))
LIMIT_S = 60.0


def months(random, seconds):
    """Years of one service, (n, 1, 12, n_figures), each with its seconds in one month."""
    found = np.zeros((len(seconds), 1, 12, len(YEAR_FIGURES)))
    found[np.arange(len(seconds)), 0, random.integers(0, 12, len(seconds)), 0] = seconds
    return found


def draws(found, *rest, whole):
    """Draws that lost these months."""
    at = year, service, month = np.nonzero(found.any(axis=3))
    return Draws(year, service, month, found[at][:, :-1], found.shape[1], *rest, whole=whole)


def weather(random, n):
    return np.where(random.random(n) < 0.3, random.exponential(20.0, n), 0.0)


def common(random, n):
    return np.where(random.random(n) < 0.4, random.exponential(30.0, n), 0.0)


def rare(random, n):
    return RARE_S * random.poisson(RARE_PER_YEAR, n)


def met(random, *, forget_rare=False):
    """What a run would know of the made-up law."""
    n = BLOCK_YEARS * BLOCKS
    own = months(random, common(random, n) + rare(random, n))
    years = own + months(random, weather(random, n))
    rows = HISTORIES * n
    whole = draws(
        months(random, common(random, rows)),
        np.repeat(np.arange(HISTORIES * BLOCKS), BLOCK_YEARS),
        np.full(rows, 1.0 / BLOCK_YEARS),
        np.repeat(np.arange(BLOCKS), HISTORIES),
        1.0 / BLOCK_YEARS,
        whole=True,
    )
    n_draws = PUT_IN * BLOCKS
    before = common(random, n_draws)
    both = np.concatenate([before, before + RARE_S])
    weight = 0.0 if forget_rare else RARE_PER_YEAR
    forced = draws(
        months(random, both),
        np.tile(np.arange(n_draws), 2),
        np.repeat([-weight, weight], n_draws),
        np.repeat(np.arange(BLOCKS), PUT_IN),
        weight,
        whole=False,
    )
    return YearsMet(years, own, BLOCK_YEARS, whole, forced)


def truth():
    random = np.random.default_rng(99)
    n = 500_000
    return float((weather(random, n) + common(random, n) + rare(random, n) > LIMIT_S).mean())


def chances(n, level=0.8, **options):
    random = np.random.default_rng(5)
    return [YearLaw(met(random, **options), [SECONDS]).break_chance([LIMIT_S], level=level) for _ in range(n)]


def test_the_mean_is_right_and_sharper_than_the_years_alone():
    found = np.array([each.best for each in chances(20)])
    error = found.std(ddof=1) / np.sqrt(found.size)
    assert abs(found.mean() - truth()) < 4 * error
    assert found.std() < 0.7 * np.sqrt(truth() * (1 - truth()) / (BLOCKS * BLOCK_YEARS))


@pytest.mark.slow
def test_limits_hold_as_often_as_they_say():
    found = chances(600)
    true = truth()
    # Each end is to hold nine times of ten.
    for holds in ([each.low <= true for each in found], [each.high >= true for each in found]):
        assert np.mean(holds) > 0.9 - 4 * np.sqrt(0.09 / 600)
    # Negative control: without the rare failures put in, the chance comes out too low.
    wrong = np.array([each.best for each in chances(600, forget_rare=True)])
    assert true - wrong.mean() > 6 * wrong.std(ddof=1) / np.sqrt(wrong.size)


def test_a_promise_is_the_least_limit_that_is_kept():
    law = YearLaw(met(np.random.default_rng(3)), [SECONDS])
    limit = law.limit(0, chance=0.2, level=0.8)
    assert law.break_chance([limit], level=0.8).high <= 0.2
    assert law.break_chance([limit - 0.01], level=0.8).high > 0.2


def test_a_law_of_many_draws_is_worked_out_in_parts(monkeypatch):
    kept = YearLaw(met(np.random.default_rng(3)), [SECONDS])
    expected = kept.break_chance([LIMIT_S], level=0.8), kept.mean(0), kept.quantile(0, 0.9)
    monkeypatch.setattr(year_law, "_MOST_KEPT", 0)
    monkeypatch.setattr(year_law, "_AT_ONCE", 7 * BLOCKS * BLOCK_YEARS)
    monkeypatch.setattr(year_tables, "_MOST_FIGURES", 13 * 12 * len(YEAR_FIGURES))
    law = YearLaw(met(np.random.default_rng(3)), [SECONDS])
    assert (law.break_chance([LIMIT_S], level=0.8), law.mean(0), law.quantile(0, 0.9)) == expected


def test_nothing_seen_is_still_bounded_by_the_years():
    years = np.zeros((50, 1, 12, len(YEAR_FIGURES)))
    none = draws(years[:0], np.zeros(0, int), np.zeros(0), np.arange(10), 0.2, whole=True)
    forced = draws(years[:0], np.zeros(0, int), np.zeros(0), np.zeros(0, int), 0.0, whole=False)
    for law in (YearLaw(YearsMet(years, years, 5, none, forced), [SECONDS]),
                YearLaw(YearsMet(years, years, 5), [SECONDS])):  # fmt: skip
        found = law.break_chance([0.0], level=0.8)
        assert found.best == 0.0
        # Of 50 years: 1 - 0.1^(1/50) by the binomial law, ln 10 / 50 by Poisson's.
        assert found.high == pytest.approx(0.045, abs=0.002)


@pytest.mark.parametrize(
    ("measure", "expected"),
    [
        (Measure((("outages", 1.0),)), 5.0),
        (Measure((("outages", 1.0),), monthly=True), 3.0),
        (Measure((("outages", 1.0), ("planned_outages", -1.0))), 4.0),
        (Measure((("outages", 1.0),), mean=True), 3.0),
        (Measure((("undelivered_mbit", 1.0),), offset=(-100.0, -10.0)), -10.0),
    ],
)
def test_measures(measure, expected):
    year = np.zeros((1, 2, 12, len(YEAR_FIGURES)))
    year[0, 0, [2, 7], YEAR_FIGURES.index("outages")] = (3.0, 2.0)
    year[0, 1, 5, YEAR_FIGURES.index("outages")] = 1.0
    year[0, 0, 2, YEAR_FIGURES.index("planned_outages")] = 1.0
    assert measure.worst(measure.periods(year)) == pytest.approx(expected)
