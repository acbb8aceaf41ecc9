"""What a history lost: one loop counts it for replications, arrays for blocks; both hold one rule."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hopyears.models.basics.calendar import month_edges_s
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.cause import Cause
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.month_figures import month_figures
from hopyears.sim.counting.tally_rows import BOTH, CAUSE, cause_rows, three_ways
from hopyears.sim.rare.losses import Losses
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.services.service_run import Outages

N_YEARS = 2
EDGES_S = month_edges_s(N_YEARS)
DURATION_S = N_YEARS * SECONDS_PER_YEAR
CAUSES = [int(Cause.RAIN), int(Cause.MAINTENANCE), int(Cause.MAINTENANCE | Cause.POWER), int(Cause.SWITCHING)]


@st.composite
def histories(draw: st.DrawFn) -> ServiceHistory:
    """Bursts of stretches, fractions of a second to minutes long, some over the turn of a month."""
    starts = draw(st.lists(st.sampled_from([*EDGES_S[1:-1], DURATION_S - 40.0, 9e5, 4e6]), max_size=4))
    times: list[float] = []
    for start_s in sorted(set(starts)):
        gaps = draw(st.lists(st.sampled_from([0.2, 0.9, 1.0, 3.5, 9.0, 10.0, 11.3, 70.0]), max_size=8))
        times += [float(t) for t in start_s - 20.0 + np.cumsum(gaps) if t < DURATION_S]
    time_s = np.unique(np.concatenate([[0.0], times]))
    n = len(time_s)
    down = np.array(draw(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=n, max_size=n)))
    why = st.tuples(st.sampled_from(CAUSES), st.sampled_from(CAUSES))
    causes = np.array(draw(st.lists(why, min_size=n, max_size=n)))
    down[0] = False
    spans = np.zeros((len(EDGES_S) - 1, 3, 2))
    spans[:, BOTH, 1] = draw(st.sampled_from([0.0, 7.0]))
    return ServiceHistory(
        time_s=time_s, result=np.arange(n, dtype=np.int32), rate_mbit_s=np.zeros((n, 2)), down=down,
        causes=np.where(down, causes, 0), seconds=np.diff(np.append(time_s, DURATION_S)),
        duration_s=DURATION_S, severe_share=draw(st.sampled_from([0.3, 0.5])), spans=spans,
    )  # fmt: skip


def outages_of(services: list[ServiceHistory]) -> Outages:
    return Outages(
        first=np.cumsum([0, *(len(each.time_s) for each in services)]),
        time_s=np.concatenate([each.time_s for each in services]),
        down=np.concatenate([each.down for each in services]),
        causes=np.concatenate([each.causes for each in services]),
        below_s=np.stack([each.spans[:, BOTH, 1] for each in services], axis=1),
        severe_share=np.array([each.severe_share for each in services]),
        duration_s=DURATION_S,
    )


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(services=st.lists(histories(), min_size=1, max_size=3))
def test_the_loop_counts_what_arrays_count(services: list[ServiceHistory]) -> None:
    found = Losses.of_outages(outages_of(services), np.zeros((0, 3)))
    rows = []
    for s, service in enumerate(services):
        ways = three_ways(service, DURATION_S)
        told = [(way.unavailable_s, way.severely_errored_s, way.n_outages) for way in ways]
        np.testing.assert_allclose(found.figures[s], told)
        months = month_figures(service, ways[BOTH], N_YEARS)[:, :, :-1]
        np.testing.assert_allclose(found.months[0, s], months)
        rows.append(cause_rows(s, BOTH, ways[BOTH]))
    keys, values = (np.concatenate(each) for each in zip(*rows, strict=True))
    wanted = KeyedTable.collect(CAUSE, keys, values)
    np.testing.assert_array_equal(found.causes.keys, wanted.keys)
    np.testing.assert_allclose(found.causes.values, wanted.values)


def test_the_histories_hold_what_the_rule_turns_on() -> None:
    """By hand, so that both are not wrong alike: an outage over the turn of a month, planned at its start."""
    time_s = np.array([0.0, EDGES_S[1] - 30.0, EDGES_S[1] + 30.0])
    down = np.array([[False, False], [True, False], [False, False]])
    service = ServiceHistory(
        time_s=time_s, result=np.arange(3, dtype=np.int32), rate_mbit_s=np.zeros((3, 2)), down=down,
        causes=np.where(down, int(Cause.MAINTENANCE), 0), seconds=np.diff(np.append(time_s, DURATION_S)),
        duration_s=DURATION_S, spans=np.zeros((len(EDGES_S) - 1, 3, 2)),
    )  # fmt: skip
    months = Losses.of_outages(outages_of([service]), np.zeros((0, 3))).months[0, 0].reshape(-1, 5)
    assert months[0] == pytest.approx([30.0, 30.0, 1.0, 1.0, 0.0])
    assert months[1] == pytest.approx([30.0, 30.0, 0.0, 0.0, 0.0])
