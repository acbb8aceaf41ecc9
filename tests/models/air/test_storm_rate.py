"""Events at rates that step in storms against their cumulative hazard, row by row."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from interval_rows import intervals_of_rows

from hopyears.models.air.storm_rate import event_times_s

gaps = st.lists(st.floats(0.01, 3.0), min_size=4, max_size=4)
steps = st.lists(st.tuples(st.floats(0.5, 20.0), st.floats(0.5, 20.0)), max_size=4)
rates = st.sampled_from([0.0, 0.05, 0.3])
sites = st.lists(st.tuples(gaps, steps, rates, rates), min_size=1, max_size=4)


@given(sites)
def test_each_site_spends_its_hazard_stretch_by_stretch(drawn):
    """Time-change theorem (Cinlar 1975, 4): an event is where the hazard has reached the sum of gaps."""
    edges = [np.cumsum([length for pair in rows for length in pair]) for _, rows, _, _ in drawn]
    storms = intervals_of_rows([list(zip(e[0::2], e[1::2], strict=True)) for e in edges])
    found = event_times_s(
        np.array([row for row, _, _, _ in drawn]),
        storms,
        span_s=(0.0, 100.0),
        rate_outside=np.array([outside for _, _, outside, _ in drawn]),
        rate_inside=np.array([inside for _, _, _, inside in drawn]),
    )
    for times, e, (row, _, outside, inside) in zip(found, edges, drawn, strict=True):
        knots = np.unique(np.clip(np.concatenate([[0.0], e, [100.0]]), 0.0, 100.0))
        stormy = np.searchsorted(e, 0.5 * (knots[1:] + knots[:-1]), side="right") % 2 == 1
        hazard = np.concatenate([[0.0], np.cumsum(np.diff(knots) * np.where(stormy, inside, outside))])
        wanted = np.cumsum(row)
        happens = wanted < hazard[-1] - 1e-9
        np.testing.assert_allclose(np.interp(times[happens], knots, hazard), wanted[happens], atol=1e-9)
        assert np.isinf(times[wanted > hazard[-1] + 1e-9]).all()
