import numpy as np
import pytest
from coverage_check import coverage, too_high, too_low

from hopyears.sim.counting.statistics import difference_interval
from hopyears.sim.counting.variance_reduction import control_variate


def _figure_and_controls(rng, n=40):
    controls = rng.normal([2.0, -1.0], [1.0, 3.0], (n, 2))
    return 5.0 + controls @ [3.0, 0.5] + rng.normal(0.0, 0.4, n), controls


def test_controls_are_covered_and_save_years():
    found = [
        control_variate(*_figure_and_controls(np.random.default_rng(s)), [2.0, -1.0]) for s in range(300)
    ]
    truth = 5.0 + 6.0 - 0.5
    share = np.mean([f.interval.low <= truth <= f.interval.high for f in found])
    assert not too_low(share, 0.95, n_trials=300)
    assert not too_high(share, 0.95, n_trials=300)
    best = np.array([f.interval.best for f in found])
    assert abs(best.mean() - truth) < 4 * best.std(ddof=1) / np.sqrt(best.size)
    plain = [_figure_and_controls(np.random.default_rng(s))[0].var(ddof=1) / 40 for s in range(300)]
    assert np.median(plain) > 30.0 * np.median([f.variance for f in found])
    np.testing.assert_allclose(np.mean([f.slopes for f in found], axis=0), [3.0, 0.5], atol=0.02)


def test_a_wrong_known_mean_shows():
    """Negative control: a control whose stated mean is wrong moves the result by slope times error."""

    def wrong(draw):
        return control_variate(*draw, [2.3, -1.0]).interval

    assert too_low(coverage(wrong, _figure_and_controls, 10.5, n_trials=200), 0.95, n_trials=200)


def test_means_known_only_about_widen_the_interval_as_they_should():
    def draw(rng):
        return *_figure_and_controls(rng), rng.normal([2.0, -1.0], [0.2, 0.3])

    def honest(drawn):
        return control_variate(*drawn, known_errors=[0.2, 0.3]).interval

    def trusting(drawn):
        return control_variate(*drawn).interval

    share = coverage(honest, draw, 10.5, n_trials=600)
    assert not too_low(share, 0.95, n_trials=600)
    assert not too_high(share, 0.95, n_trials=600)
    assert too_low(coverage(trusting, draw, 10.5, n_trials=200), 0.95, n_trials=200)  # negative control


def test_bounds_keep_slopes_from_following_chance():
    """Two controls that are nearly one and hardly matter: free slopes carry their chance into the figure."""
    free, bounded = [], []
    for seed in range(300):
        rng = np.random.default_rng(seed)
        first = rng.normal(0.0, 0.01, 12)
        controls = np.column_stack([first, first + rng.normal(0.0, 0.001, 12)])
        figure = 5.0 + first + rng.normal(0.0, 1.0, 12)
        free.append(control_variate(figure, controls, [0.0, 0.0]))
        bounded.append(control_variate(figure, controls, [0.0, 0.0], slope_bounds=(0.0, 2.0)))
    assert all(((each.slopes > -1e-9) & (each.slopes < 2.0 + 1e-9)).all() for each in bounded)
    assert max(np.abs(each.slopes).max() for each in free) > 100.0
    best = {
        name: np.array([each.interval.best for each in found])
        for name, found in (("free", free), ("bounded", bounded))
    }
    assert best["bounded"].std() < 0.95 * best["free"].std()
    assert abs(best["bounded"].mean() - 5.0) < 4 * best["bounded"].std() / np.sqrt(300)
    share = np.mean([each.interval.low <= 5.0 <= each.interval.high for each in bounded])
    assert not too_low(share, 0.95, n_trials=300)


def test_bounds_that_do_not_bind_change_nothing():
    drawn = _figure_and_controls(np.random.default_rng(5))
    free = control_variate(*drawn, [2.0, -1.0])
    bounded = control_variate(*drawn, [2.0, -1.0], slope_bounds=(0.0, 5.0))
    np.testing.assert_allclose(bounded.slopes, free.slopes)
    assert bounded.interval.best == pytest.approx(free.interval.best)


def test_useless_controls_change_nothing():
    values = np.random.default_rng(1).gamma(2.0, 1.0, 30)
    constant = control_variate(values, np.full(30, 7.0), 7.0)
    assert constant.interval.best == pytest.approx(values.mean())
    assert constant.interval.half_width == pytest.approx(difference_interval(values).half_width)
    assert constant.variance == pytest.approx(values.var(ddof=1) / 30)
    twin = control_variate(values, np.stack([values, values], axis=1), [2.0, 2.0])
    assert twin.interval.best == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: control_variate(np.ones(3), np.ones(3), 1.0), "values has 3 blocks; must have at least 4"),
        (lambda: control_variate(np.ones(9), np.ones(9), [1.0, 2.0]), r"known_means has shape \(2,\)"),
        (lambda: control_variate(np.ones(9), np.ones(9), 1.0, known_errors=-1.0), "known_errors is -1.0"),
    ],
)
def test_bad_input_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
