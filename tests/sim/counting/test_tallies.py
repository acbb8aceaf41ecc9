import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hopyears.models.basics.calendar import MONTH_SECONDS
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.outage_loops import SEVERELY_ERRORED, UNAVAILABLE
from hopyears.models.judging.outage_rule import classify
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.tallies import TABLES, Run, Tally, add_tallies, by_month, tally_block
from hopyears.sim.counting.tally_rows import Block, month_rows, outage_rows
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import ServiceDemand, sweep_services

YEARS = 2
DURATION_S = YEARS * SECONDS_PER_YEAR
FULL, HALF, OUT, SLIP = range(4)
CAPACITY_MBIT_S = np.array([200.0, 100.0, 0.0, 0.0])
CAUSES = np.array([0, Cause.RAIN, Cause.POWER, Cause.MULTIPATH])
LEVELS = np.stack([np.array([[0, 0, 2], [0, 2, 0], [2, 0, 0], [1, 1, 0]])] * 2, axis=1)
RUN = Run("digest", YEARS, ("mail", "film"), ("mill-ridge", "ridge-dam"))


def _hop(*spells):
    """A hop with spells (start, length, state) in an otherwise nominal history."""
    times, states = [0.0], [FULL]
    for start, length, state in spells:
        times += [start, start + length]
        states += [state, FULL]
    return HopHistory(
        np.array(times),
        np.array(states, dtype=np.int32),
        np.stack([CAPACITY_MBIT_S] * 2, axis=1),
        CAUSES.copy(),
    )


def _random_hop(rng, n=60):
    starts = np.sort(rng.uniform(0, DURATION_S - 5000, n))
    lengths = np.minimum(rng.exponential(20.0, n), np.append(np.diff(starts), 1e9) * 0.9)
    return _hop(*zip(starts, lengths, rng.integers(1, 4, n), strict=True))


def _block(number, hops, run=RUN):
    services = [
        ServiceDemand("mail", 50.0, 150.0, 1, (((0, 0), (1, 0)),)),
        ServiceDemand("film", 20.0, 20.0, 2, (((1, 1),),)),
    ]
    histories = sweep_services(hops, services, DURATION_S)
    return tally_block(
        run, number, services=services, histories=histories, hops=hops, channels_at_level=[LEVELS, LEVELS]
    )


SPELLS = _block(
    0, [_hop((1000.0, 600.0, OUT), (5e6, 3.0, SLIP)), _hop((1300.0, 600.0, HALF), (4e7, 20.0, OUT))]
)


def _value(tally, table, name, **keys):
    frame = tally.to_frame(table)
    for key, wanted in keys.items():
        frame = frame[frame[key] == wanted]
    return frame[name].sum()


def test_totals_of_a_known_history():
    mail = {"service": "mail", "direction": "both"}
    assert _value(SPELLS, "service_total", "observed_s", **mail) == DURATION_S
    assert _value(SPELLS, "service_total", "unavailable_s", **mail) == 620
    assert _value(SPELLS, "service_total", "severely_errored_s", **mail) == 3
    assert _value(SPELLS, "service_total", "outages", **mail) == 2
    assert _value(SPELLS, "service_total", "longest_outage_s", **mail) == 600
    assert _value(SPELLS, "service_total", "unavailable_s", service="film", direction="backward") == 20


def test_causes_traffic_and_levels_of_a_known_history():
    assert (
        _value(SPELLS, "service_cause", "unavailable_s", service="mail", direction="both", cause="power")
        == 620
    )
    lost = {"service": "mail", "direction": "forward"}
    assert _value(SPELLS, "service_cause", "severely_errored_s", **lost, cause="multipath") == 3
    whole, missing = 150.0 * DURATION_S, 150 * (600 + 3 + 20) + (150 - 80) * 300
    delivered = _value(SPELLS, "service_traffic", "delivered_mbit", **lost)
    assert delivered == pytest.approx(whole - missing, rel=1e-12)
    assert _value(SPELLS, "service_undelivered", "undelivered_mbit", **lost) == pytest.approx(missing)
    assert _value(SPELLS, "service_undelivered", "undelivered_mbit", **lost, cause="rain") == pytest.approx(
        21000
    )
    committed = _value(SPELLS, "service_undelivered", "undelivered_committed_mbit", **lost)
    assert committed == pytest.approx(50 * 623)
    ridge = {"hop": "mill-ridge", "direction": "forward"}
    assert _value(SPELLS, "hop_level", "channel_seconds", **ridge, level=0) == pytest.approx(2 * 600 + 3)
    assert _value(SPELLS, "hop_level", "channel_seconds", **ridge) == pytest.approx(2 * DURATION_S)
    assert _value(SPELLS, "hop_capacity", "seconds", **ridge, capacity_kbit_s=0) == pytest.approx(603)
    assert _value(SPELLS, "hop_state_cause", "seconds", hop="ridge-dam", cause="rain") == pytest.approx(600)
    assert _value(SPELLS, "hop_total", "unavailable_s", hop="ridge-dam", direction="both") == 20


def test_throughput_bins():
    mail = {"service": "mail", "direction": "forward"}
    assert _value(SPELLS, "service_throughput", "seconds", **mail, bin=0) == pytest.approx(623)
    assert _value(SPELLS, "service_throughput", "seconds", **mail, bin=534) == pytest.approx(300)
    assert _value(SPELLS, "service_throughput", "seconds", **mail) == pytest.approx(DURATION_S)


def test_seconds_add_up_in_every_table():
    rng = np.random.default_rng(3)
    tally = _block(0, [_random_hop(rng), _random_hop(rng)])
    for kind in ("service", "hop"):
        total, month, cause = (tally.tables[f"{kind}_{name}"] for name in ("total", "month", "cause"))
        for value in ("unavailable_s", "severely_errored_s"):
            assert total.value(value).sum() > 0
            by_way = total.spread(value, (2, 3))
            np.testing.assert_array_equal(
                month.spread(value, (2, 3, 1, YEARS, 12)).sum(axis=(2, 3, 4)), by_way
            )
            for way in range(3):
                here = cause.key("direction") == way
                assert cause.value(value)[here].sum() == by_way[:, way].sum()
    outages = tally.tables["service_outage"]
    total = tally.tables["service_total"]
    both = total.key("direction") == 2
    assert outages.value("duration_s").sum() == total.value("unavailable_s")[both].sum()
    assert outages.keys.shape[0] == total.value("outages")[both].sum()
    assert (outages.key("causes") > 0).all()
    traffic, missing = tally.tables["service_traffic"], tally.tables["service_undelivered"]
    one_way = traffic.key("direction") < 2
    delivered = traffic.value("delivered_mbit")[one_way].sum() + missing.value("undelivered_mbit").sum()
    assert delivered == pytest.approx(traffic.value("peak_mbit")[one_way].sum(), rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 10**6) | st.integers(1, 15),
            st.integers(1, 4 * 10**6),
            st.sampled_from([1, 2, 4, 8]),
        ),
        max_size=25,
    )
)
def test_months_against_a_look_at_each_interval(steps):
    now, intervals = 0, []
    for good, bad, causes in steps:
        if now + good + bad <= DURATION_S:
            intervals.append((now + good, now + good + bad, causes))
            now += good + bad
    columns = np.array(intervals, dtype=float).reshape(-1, 3)
    lost = classify(*columns[:, :2].T, columns[:, 2].astype(int), duration_s=DURATION_S)
    month_keys, values = month_rows(5, 1, lost, Block(7, YEARS))
    assert month_keys.tolist() == [[5, 1, 7, year, month] for year in range(YEARS) for month in range(12)]
    edges = np.cumsum([0, *np.tile(MONTH_SECONDS, YEARS)])
    for k in range(12 * YEARS):
        low, high = edges[k], edges[k + 1]
        for column, kind in ((0, UNAVAILABLE), (1, SEVERELY_ERRORED)):
            pieces = zip(lost.start_s[lost.kind == kind], lost.end_s[lost.kind == kind], strict=True)
            assert values[k, column] == sum(max(0, min(end, high) - max(start, low)) for start, end in pieces)
        assert values[k, 2] == np.sum((lost.unavailable_start_s >= low) & (lost.unavailable_start_s < high))
    keys, _ = outage_rows(0, lost, Block(0, YEARS))
    for start, end, causes in zip(lost.unavailable_start_s, lost.unavailable_end_s, keys[:, 3], strict=True):
        inside = (lost.start_s >= start) & (lost.start_s < end)
        assert causes == np.bitwise_or.reduce(lost.causes[inside])


_rows = st.lists(
    st.tuples(st.integers(0, 3), st.integers(0, 2), st.integers(0, 9), st.integers(0, 9)), max_size=12
)
COLUMNS = Columns(("a", "b"), ("sum",), ("max",))


def _table(rows):
    array = np.array(rows, dtype=float).reshape(-1, 4)
    return KeyedTable.collect(COLUMNS, array[:, :2].astype(int), array[:, 2:])


def _same(one, other):
    np.testing.assert_array_equal(one.keys, other.keys)
    np.testing.assert_array_equal(one.values, other.values)


@given(_rows, _rows, _rows)
def test_keyed_tables_add_in_any_order(a, b, c):
    x, y, z = _table(a), _table(b), _table(c)
    _same(x + y, y + x)
    _same((x + y) + z, x + (y + z))
    _same(x + KeyedTable.empty(COLUMNS), x)
    _same(x + y + z, _table(a + b + c))
    expected: dict[tuple[int, int], list[int]] = {}
    for *key, value, largest in a:
        old = expected.setdefault(tuple(key), [0, 0])
        expected[tuple(key)] = [old[0] + value, max(old[1], largest)]
    expected = {key: value for key, value in expected.items() if any(value)}
    assert {tuple(key): list(value) for key, value in zip(x.keys, x.values, strict=True)} == expected


def test_tallies_add_and_zero_is_the_identity():
    rng = np.random.default_rng(8)
    parts = [_block(number, [_random_hop(rng), _random_hop(rng)]) for number in range(3)]
    assert Tally() + parts[0] is parts[0]
    assert parts[0] + Tally() is parts[0]
    forward, backward = add_tallies(parts), add_tallies(parts[::-1])
    assert forward.blocks == (0, 1, 2)
    assert forward.years == 6
    for name in TABLES:
        _same(forward.tables[name], backward.tables[name])
    assert _value(forward, "service_total", "observed_s", service="mail", direction="both") == 3 * DURATION_S
    longest = [
        _value(p, "service_total", "longest_outage_s", service="mail", direction="both") for p in parts
    ]
    assert _value(forward, "service_total", "longest_outage_s", service="mail", direction="both") == max(
        longest
    )


def test_joining_all_at_once_is_adding_one_after_another():
    """Apart from rounding: many values of one key are added in pairs of pairs."""
    rng = np.random.default_rng(10)
    parts = [_block(number, [_random_hop(rng), _random_hop(rng)]) for number in range(9)]
    one_by_one = Tally()
    for part in parts:
        one_by_one += part
    at_once = add_tallies(parts)
    assert at_once.blocks == one_by_one.blocks == tuple(range(9))
    for name in TABLES:
        np.testing.assert_array_equal(at_once.tables[name].keys, one_by_one.tables[name].keys)
        np.testing.assert_allclose(at_once.tables[name].values, one_by_one.tables[name].values, rtol=1e-14)
    assert np.any(at_once.tables["hop_capacity"].value("seconds") % 1.0)


def test_months_of_every_block():
    rng = np.random.default_rng(9)
    parts = [_block(number, [_random_hop(rng), _random_hop(rng)]) for number in (3, 1)]
    months = by_month(add_tallies(parts), "service_month", "unavailable_s")
    assert months.shape == (2, 2, YEARS, 12)
    for place, part in enumerate(parts[::-1]):
        mail = _value(part, "service_total", "unavailable_s", service="mail", direction="both")
        assert months[0, place].sum() == mail > 0
    forward = by_month(SPELLS, "hop_month", "outages", direction=0)
    assert forward[0].sum() == 1.0
    assert forward[0, 0, 0, 0] == 1.0
    with pytest.raises(ValueError, match="tally is zero"):
        by_month(Tally(), "hop_month", "outages")


def test_different_runs_and_repeated_blocks_refuse_to_add():
    other = _block(1, [_hop(), _hop()], Run("other", YEARS, RUN.service_ids, RUN.hop_ids))
    with pytest.raises(ValueError, match="run is other; must be digest"):
        SPELLS + other
    with pytest.raises(ValueError, match="blocks holds 0; must be blocks that are not in the tally yet"):
        SPELLS + SPELLS


def test_arrow_there_and_back():
    tables = SPELLS.to_arrow()
    back = Tally.from_arrow(RUN, [0], tables)
    for name in TABLES:
        _same(back.tables[name], SPELLS.tables[name])
    with pytest.raises(ValueError, match="tables lacks hop_capacity"):
        Tally.from_arrow(RUN, [0], {name: t for name, t in tables.items() if name != "hop_capacity"})
    with pytest.raises(ValueError, match="columns is"):
        Tally.from_arrow(RUN, [0], tables | {"hop_capacity": tables["hop_level"]})


def test_every_table_can_be_read():
    for name in TABLES:
        frame = SPELLS.to_frame(name)
        assert isinstance(frame, pd.DataFrame)
        assert frame.columns[0] in ("service", "hop")
        assert Tally().to_frame(name).empty


def test_wrong_numbers_of_things_are_refused():
    with pytest.raises(
        ValueError, match="block has 0 services, 0 histories, 1 hops; must have 2 services, 2 hops"
    ):
        tally_block(RUN, 0, services=[], histories=[], hops=[_hop()])
    services = [ServiceDemand(name, 5.0, 5.0, 1, (((0, 0),),)) for name in RUN.service_ids]
    histories = sweep_services([_hop()], services, 100.0)
    with pytest.raises(ValueError, match=r"duration_s is 100\.0; must be"):
        tally_block(RUN, 0, services=services, histories=histories, hops=[_hop(), _hop()])


@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3), st.integers(1, 9)), max_size=20), st.randoms()
)
def test_rows_stored_in_any_order_are_read_as_the_same_table(rows, chance):
    columns = Columns(("row", "other"), ("sum",), ("most",))
    table = KeyedTable.collect(columns, [row[:2] for row in rows], [(row[2], row[2]) for row in rows])
    order = np.array(chance.sample(range(len(table.keys)), len(table.keys)), np.int64)
    for stored in (table.to_arrow(), table.to_arrow().take(order)):
        back = KeyedTable.from_arrow(columns, stored)
        assert (back.keys.tobytes(), back.values.tobytes()) == (table.keys.tobytes(), table.values.tobytes())
