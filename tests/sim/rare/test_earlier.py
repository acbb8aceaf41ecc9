"""Failures put in before another: their weights are exact, and pairs and empty stores keep their means."""

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, unit_kind
from plant_entries import spares_at
from scipy.stats import poisson

from hopyears.models.basics.units import HOURS_PER_YEAR, SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.put_in import PutIn
from hopyears.sim.rare.earlier import EVEN_SHARE, REACH_S, Earlier, chosen, weight
from hopyears.sim.streams import Streams


def way_of(parts, mtbf_h, lag_h, number=1):
    """Every part with the same chance and lag."""
    n = len(parts)
    return Earlier(
        np.array(parts),
        np.full(n, 1.0 / n),
        np.full(n, lag_h * HOUR),
        np.full(n, 1.0 / (mtbf_h * HOUR)),
        number,
    )


def history(plant, number, times_s, held=None, until_s=np.inf):
    """Three years of a plant from its beginning on, with failures put in."""
    put_in = PutIn(times_s, held, until_s)
    return simulate_failures(plant, Streams(2, number), 3.0 * SECONDS_PER_YEAR, warm_up_s=0.0, put_in=put_in)


def test_the_ratio_of_a_history_by_its_definition():
    """One failure 10 h before and mended after 4 h, one of a part that takes no part."""
    kind = unit_kind(1e30, 4.0, mend=Law.fixed(4.0))
    time_s, lag_s = 1.5 * SECONDS_PER_YEAR, 10.0 * HOUR
    log = history(bare_plant(3, kind, crews=3), 0, {0: (time_s - lag_s,), 2: (time_s - lag_s,)})
    way = way_of([0, 1], 1000.0, 20.0)
    cut = -np.expm1(-REACH_S / (20.0 * HOUR))

    def below(hours):
        return (1 - EVEN_SHARE) * -np.expm1(-hours / 20.0) / cut + EVEN_SHARE * hours * HOUR / REACH_S

    density = (1 - EVEN_SHARE) * np.exp(-0.5) / (20.0 * HOUR) / cut + EVEN_SHARE / REACH_S
    hit, idle = 0.5 * density * 1000.0 * HOUR, 0.5 * (below(10.0) - below(6.0))
    assert way.ratio(log.failures, time_s) == pytest.approx(hit + idle, rel=1e-12)
    twice = way_of([0, 1], 1000.0, 20.0, number=2)
    assert twice.ratio(log.failures, time_s) == pytest.approx(2.0 * idle * hit + idle**2, rel=1e-12)
    assert weight((way,), log, time_s) == pytest.approx(4.0 / (1.0 + 3.0 * (hit + idle)), rel=1e-12)
    assert weight((), log, time_s) == 1.0
    # Where the second part never fails, half of what is put in has no effect.
    without = way.ratio(log.failures, time_s, np.array([False, True, False]))
    assert without == pytest.approx(hit + idle + 0.5, rel=1e-12)


def test_density_and_chance_of_lags_agree():
    way = way_of([0], 1000.0, 300.0)
    edges_s, place = np.linspace(0.0, REACH_S, 20_001), np.zeros(20_001, dtype=int)
    density = way.density_per_s(place, edges_s)
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(edges_s))])
    assert np.allclose(way.chance_below(place, edges_s), summed, atol=1e-5)
    assert summed[-1] == pytest.approx(1.0, abs=1e-5)


def test_lags_drawn_follow_their_law():
    """Kolmogorov's distance of 2,000 lags from their law below 1.95 / sqrt(n) (0.1 % of true samples)."""
    way, random = way_of([0], 1000.0, 300.0), np.random.default_rng(4)
    drawn = np.sort([REACH_S - way.drawn(random, REACH_S)[0][0] for _ in range(2000)])
    law = way.chance_below(np.zeros(2000, dtype=int), drawn)
    assert np.abs(law - (np.arange(2000) + 0.5) / 2000).max() < 1.95 / np.sqrt(2000)


@pytest.mark.slow
@pytest.mark.parametrize("number", [1, 2])
def test_weights_have_the_mean_one(number):
    """Over 400 histories of a plant that is often down; what fell on a part that was down counts."""
    plant, random = bare_plant(3, unit_kind(500.0, 300.0), crews=3), np.random.default_rng(7)
    way, time_s = way_of([0, 1], 500.0, 60.0, number), 1.5 * SECONDS_PER_YEAR
    weights, forgotten = [], []
    for draw in range(400):
        taken = chosen((way,), random)
        log = history(plant, draw, {} if taken is None else taken.drawn(random, time_s))
        weights.append(weight((way,), log, time_s))
        busy = [row for row in range(len(log.failures)) if log.failures.part[row] < 2]
        lag_s = time_s - log.failures.failed_s[busy]
        terms = 0.5 * way.density_per_s(np.zeros(len(busy), dtype=int), lag_s) * 500.0 * HOUR
        hit = terms.sum() if number == 1 else terms.sum() ** 2 - (terms**2).sum()
        forgotten.append(4.0 / (1.0 + 3.0 * hit))
    error = np.std(weights, ddof=1) / np.sqrt(len(weights))
    assert max(weights) <= 4.0
    assert abs(np.mean(weights) - 1.0) < 4.0 * error
    assert abs(np.mean(forgotten) - 1.0) > 4.0 * error  # negative control


def both_down_h(log):
    """Time that two parts are down together [h]."""
    rows = log.failures
    spans = [[(rows.failed_s[i], rows.mended_s[i]) for i in rows.rows_of(part)] for part in (0, 1)]
    return sum(max(min(b, d) - max(a, c), 0.0) for a, b in spans[0] for c, d in spans[1]) / HOUR


@pytest.mark.slow
def test_pairs_put_in_by_hand_have_the_mean_of_two_parts_in_parallel():
    """Two parts with a crew each are down together for a share (MTTR / (MTBF + MTTR))^2 of the time.

    Textbook closed form (IEC 61078, independent blocks in parallel; from memory). Without weights the mean is
    another (negative control).
    """
    mtbf_h, mttr_h = 20_000.0, 30.0
    plant, random = bare_plant(2, unit_kind(mtbf_h, mttr_h), crews=2), np.random.default_rng(11)
    expected = HOURS_PER_YEAR * (mttr_h / (mtbf_h + mttr_h)) ** 2
    held, found, plain = np.ones(2, dtype=bool), [], []
    for draw in range(1500):
        time_s, part = (1.0 + random.random()) * SECONDS_PER_YEAR, int(random.integers(2))
        ways = (way_of([1 - part], mtbf_h, 2.0 * mttr_h),)
        taken = chosen(ways, random)
        before = {} if taken is None else taken.drawn(random, time_s)
        without = history(plant, draw, before, held, time_s)
        with_it = history(plant, draw, {**before, part: (time_s,)}, held, time_s)
        added = (both_down_h(with_it) - both_down_h(without)) * HOURS_PER_YEAR / mtbf_h / 0.5
        found.append(added * weight(ways, without, time_s))
        plain.append(added)
    error = np.std(found, ddof=1) / np.sqrt(len(found))
    assert error < 0.15 * expected
    assert abs(np.mean(found) - expected) < 4.0 * error
    assert abs(np.mean(plain) - expected) > 4.0 * error


def waited_h(log):
    """Time that failures wait for a spare [h]."""
    return float((log.failures.spare_s - log.failures.noticed_s).sum()) / HOUR


@pytest.mark.slow
@pytest.mark.parametrize("stock", [1, 2])
def test_empty_stores_put_in_by_hand_have_the_mean_of_base_stock(stock):
    """Waits for spares ordered one for one: mean backorders E (N - stock)+, N Poisson of the mean on order.

    C. Palm's theorem as used for base stock by G. J. Feeney and C. C. Sherbrooke, Management Science 12
    (1966) 391-411, from memory. 40 parts: those that wait do not fail, which takes less than 3 % off.
    """
    n, mtbf_h, lead_h = 40, 100_000.0, 720.0
    kind = unit_kind(mtbf_h, 1.0, mend=Law.fixed(1.0), spare="unit")
    depots = [spares_at("store", 50.0, 10.0, {"unit": stock}, lead_time=Law.fixed(lead_h))]
    plant, random = bare_plant(n, kind, crews=n, depots=depots), np.random.default_rng(13)
    on_order, number = poisson(n * lead_h / mtbf_h), np.arange(60)
    expected = HOURS_PER_YEAR * float(np.maximum(number - stock, 0) @ on_order.pmf(number))
    held, ways, found, plain = np.ones(n, dtype=bool), (way_of(range(n), mtbf_h, lead_h, stock),), [], []
    for draw in range(800):
        time_s, part = (1.0 + random.random()) * SECONDS_PER_YEAR, int(random.integers(n))
        taken = chosen(ways, random)
        before = {} if taken is None else taken.drawn(random, time_s)
        without = history(plant, draw, before, held, time_s)
        both = {**before, part: (*before.get(part, ()), time_s)}
        with_it = history(plant, draw, both, held, time_s)
        added = (waited_h(with_it) - waited_h(without)) * HOURS_PER_YEAR / mtbf_h * n
        found.append(added * weight(ways, without, time_s))
        plain.append(added)
    error = np.std(found, ddof=1) / np.sqrt(len(found))
    assert error < 0.12 * expected
    assert abs(np.mean(found) - 0.985 * expected) < 4.0 * error
    assert abs(np.mean(plain) - expected) > 4.0 * error  # negative control
