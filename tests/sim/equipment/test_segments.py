"""Equipment states of hops cut from failure logs, most of them made by hand."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hand_made_log import failure_log
from small_networks import triangle

from hopyears.models.basics.intervals import Intervals
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.link_states import link_state
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import IndoorUnit, Site
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.segments import Cutter, LinkStates, equipment_segments
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.streams import Streams

DEMO = Path(__file__).parents[3] / "experiments" / "demo" / "network.toml"
DURATION_S = 1000.0
PLAIN = ModelOptions(rain=False, anchoring=False)


@cache
def prepared(scheme="1+0", duplicated=False):
    network = triangle(scheme)
    first = Site(**{**network.sites[0].model_dump(), "indoor_unit": "own"})
    unit = IndoorUnit(id="own", controllers=2 if duplicated else 1)
    return prepare(triangle(scheme, sites=(first, *network.sites[1:]), indoor_units=(unit,)), PLAIN)


def part(ready, name):
    (found,) = [i for i, each in enumerate(ready.built.plant.parts) if each.id == name]
    return found


def log_of(ready, episodes=(), **more):
    plant = ready.built.plant
    return failure_log(
        len(plant.parts), len(plant.sites), DURATION_S, episodes, n_groups=len(plant.groups), **more
    )


def segments(ready, hop, log):
    return equipment_segments(ready.built.hops[hop], LinkStates(ready.designs[hop]), log)


def causes_over_time(found):
    """Start of each segment and its causes, all directions and channels together."""
    flags = [int(np.bitwise_or.reduce(state.causes.reshape(-1))) for state in found.states]
    return [(float(t), flags[row]) for t, row in zip(found.start_s, found.state, strict=True)]


def failed(ready, name, start_s, end_s, **more):
    return {"part": part(ready, name), "failed": start_s, "mended": end_s, **more}


def test_nothing_fails():
    ready = prepared()
    assert causes_over_time(segments(ready, 0, log_of(ready))) == [(0.0, 0)]


def test_a_part_of_the_hop_and_of_no_other():
    ready = prepared()
    log = log_of(ready, [failed(ready, "a-b/a/radio-1", 100.0, 300.0)])
    found = segments(ready, 0, log)
    assert causes_over_time(found) == [(0.0, 0), (100.0, int(Cause.OUTDOOR_RADIO)), (300.0, 0)]
    assert [state.line_up.any() for state in found.states] == [True, False]
    for other in (1, 2):
        assert causes_over_time(segments(ready, other, log)) == [(0.0, 0)]


def test_a_failure_from_before_the_block_and_one_beyond_its_end():
    ready = prepared()
    log = log_of(
        ready, [failed(ready, "a-b/a/radio-1", -50.0, 200.0), failed(ready, "a-b/b/cable-1", 900.0, 5000.0)]
    )
    assert causes_over_time(segments(ready, 0, log)) == [
        (0.0, int(Cause.OUTDOOR_RADIO)), (200.0, 0), (900.0, int(Cause.CABLE)),
    ]  # fmt: skip


def test_failures_that_stop_no_traffic_are_left_out():
    ready = prepared()
    log = log_of(ready, [failed(ready, "a-b/a/radio-1", 100.0, 300.0, affecting=False)])
    assert causes_over_time(segments(ready, 0, log)) == [(0.0, 0)]


def test_two_parts_at_once_are_told_together():
    ready = prepared()
    log = log_of(
        ready, [failed(ready, "a-b/a/radio-1", 100.0, 300.0), failed(ready, "a-b/a/modem-1", 200.0, 400.0)]
    )
    radio, modem = int(Cause.OUTDOOR_RADIO), int(Cause.MODEM_CARD)
    assert causes_over_time(segments(ready, 0, log)) == [
        (0.0, 0), (100.0, radio), (200.0, radio | modem), (300.0, modem), (400.0, 0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "cause"),
    [
        ("a/unit-1/controller-1", Cause.COMMON_UNIT),
        ("a/unit-1/chassis-1", Cause.COMMON_UNIT),
        ("a/power_distribution", Cause.POWER),
        ("a/mast", Cause.MAST),
        ("a/software", Cause.SOFTWARE),
    ],
)
def test_what_the_directions_share_takes_them_all_down(name, cause):
    ready = prepared()
    log = log_of(ready, [failed(ready, name, 100.0, 300.0)])
    for hop, ends_there in ((0, True), (1, True), (2, False)):
        expected = [(0.0, 0), (100.0, int(cause)), (300.0, 0)] if ends_there else [(0.0, 0)]
        found = segments(ready, hop, log)
        assert causes_over_time(found) == expected
        assert any(not state.line_up.any() for state in found.states) is ends_there


def test_a_second_controller_stands_in():
    ready = prepared(duplicated=True)
    one, two = "a/unit-1/controller-1", "a/unit-1/controller-2"
    alone = log_of(ready, [failed(ready, one, 100.0, 300.0)])
    both = log_of(ready, [failed(ready, one, 100.0, 300.0), failed(ready, two, 200.0, 400.0)])
    assert causes_over_time(segments(ready, 0, alone)) == [(0.0, 0)]
    assert causes_over_time(segments(ready, 0, both)) == [
        (0.0, 0), (200.0, int(Cause.COMMON_UNIT)), (300.0, 0),
    ]  # fmt: skip


def test_power_and_planned_work_of_either_end():
    ready = prepared()
    log = log_of(ready, power={1: [(100.0, 300.0)]}, planned={0: [(200.0, 400.0)]})
    power, planned = int(Cause.POWER), int(Cause.MAINTENANCE)
    assert causes_over_time(segments(ready, 0, log)) == [
        (0.0, 0), (100.0, power), (200.0, power | planned), (300.0, planned), (400.0, 0),
    ]  # fmt: skip
    assert causes_over_time(segments(ready, 1, log)) == [(0.0, 0), (200.0, planned), (400.0, 0)]


def test_a_standby_takes_over_after_the_switch():
    ready = prepared("1+1 HSB")
    group = ready.built.hops[0].groups[0][0]
    log = log_of(
        ready, [failed(ready, "a-b/a/radio-1", 100.0, 300.0)], switches={group: [(100.0, -1), (100.1, 1)]}
    )
    found = segments(ready, 0, log)
    assert found.start_s.tolist() == [0.0, 100.0, 100.1, 300.0]
    forward = [found.states[row].transmitter_up[0, 0] for row in found.state]
    assert forward == [True, False, True, True]
    # Backward the standby's receiver hears at once: two receivers need no switch.
    backward = [found.states[row].line_up[1] for row in found.state]
    assert backward == [True, True, True, True]
    flags = [flag for _, flag in causes_over_time(found)]
    assert flags[1] & int(Cause.SWITCHING)
    assert not flags[3]


def test_a_mute_standby_goes_unseen_until_it_is_mended():
    ready = prepared("1+1 HSB")
    spare = failed(ready, "a-b/a/radio-2", 100.0, 400.0, latent=True, arrived=300.0)
    found = segments(ready, 0, log_of(ready, [spare]))
    # Silent from 100 s on, which nobody notices while the main radio works; down once the crew is there.
    assert all(state.line_up.all() for state in found.states)
    assert causes_over_time(found)[0] == (0.0, 0)


def test_a_mute_standby_hears_until_the_crew_takes_it_down():
    ready = prepared("1+1 SD")
    spare = failed(ready, "a-b/a/radio-2", 100.0, 400.0, latent=True, arrived=300.0)
    found = segments(ready, 0, log_of(ready, [spare]))
    assert found.start_s.tolist() == [0.0, 300.0, 400.0]
    lines = ready.designs[0].structure.lines
    (second,) = [line.index for line in lines if (line.direction, line.antenna) == (1, 1)]
    assert [bool(found.states[row].line_up[second]) for row in found.state] == [True, False, True]


def test_lightning_is_named_beside_the_part():
    ready = prepared()
    cause = int(Cause.OUTDOOR_RADIO | Cause.LIGHTNING)
    log = log_of(ready, [failed(ready, "a-b/a/radio-1", 100.0, 300.0, cause=cause)])
    assert causes_over_time(segments(ready, 0, log)) == [(0.0, 0), (100.0, cause), (300.0, 0)]
    again = log_of(
        ready,
        [
            failed(ready, "a-b/a/radio-1", -10.0, 300.0, cause=cause),
            failed(ready, "a-b/a/radio-1", 500.0, 600.0, cause=int(Cause.OUTDOOR_RADIO)),
        ],
    )
    assert causes_over_time(segments(ready, 0, again)) == [
        (0.0, cause), (300.0, 0), (500.0, int(Cause.OUTDOOR_RADIO)), (600.0, 0),
    ]  # fmt: skip


def test_a_struck_standby_blames_lightning_only_while_it_matters():
    ready = prepared("1+1 HSB")
    cause = int(Cause.OUTDOOR_RADIO | Cause.LIGHTNING)
    log = log_of(ready, [failed(ready, "a-b/a/radio-2", 100.0, 300.0, cause=cause)])
    found = segments(ready, 0, log)
    assert all(state.line_up.all() for state in found.states)
    assert all(flag == 0 for _, flag in causes_over_time(found))


def test_states_are_the_ones_worked_out_afresh():
    ready = prepared("1+1 HSB unequal")
    design = ready.designs[0]
    group = ready.built.hops[0].groups[1][0]
    log = log_of(
        ready, [failed(ready, "a-b/b/radio-1", 10.0, 20.0)], switches={group: [(10.0, -1), (11.0, 1)]}
    )
    found = segments(ready, 0, log)
    bit = [each.id for each in design.parts].index("a-b/b/radio-1")
    up = design.structure.all_up & ~(1 << bit)
    expected = link_state(design.structure, up, ((0,), (1,)))
    at = found.states[found.state[2]]
    assert (at.extra_loss_db == expected.extra_loss_db).all()
    assert (at.causes == expected.causes).all()
    # After the repair the standby goes on transmitting: no switch back was logged.
    last = link_state(design.structure, design.structure.all_up, ((0,), (1,)))
    assert (found.states[found.state[-1]].extra_loss_db == last.extra_loss_db).all()


def test_blocks_cut_together_are_those_cut_one_by_one():
    ready = prepared("1+1 HSB")
    names = ["a-b/a/radio-1", "a-b/b/cable-1", "a-c/a/radio-1", "a-b/a/radio-1"]
    failures = [failed(ready, name, 100.0 * n, 100.0 * n + 150.0) for n, name in enumerate(names, -1)]
    logs = [log_of(ready, failures[:k]) for k in range(len(failures) + 1)]
    cutter = Cutter(ready.built.hops, [LinkStates(design) for design in ready.designs])
    cut, n_hops = cutter.cut(logs), len(ready.designs)
    for block, log in enumerate(logs):
        for hop in range(n_hops):
            here = slice(*cut.first[block * n_hops + hop : block * n_hops + hop + 2])
            found = [cutter.states[number] for number in cut.number[here]]
            assert {own for own, _ in found} == {hop}
            alone = segments(ready, hop, log)
            assert cut.start_s[here].tolist() == alone.start_s.tolist()
            expected = [alone.states[row] for row in alone.state]
            for (_, one), other in zip(found, expected, strict=True):
                assert one.line_causes.tolist() == other.line_causes.tolist()
                assert one.extra_loss_db.tolist() == other.extra_loss_db.tolist()


def state_at(ready, hop, log, time_s):
    """Link state of a hop at a time, from the rows of the log that hold then: the slow obvious way."""
    depends, structure = ready.built.hops[hop], ready.designs[hop].structure
    rows = log.failures

    def spans(part, *, mending=False):
        own = rows.rows_of(part)
        if mending:
            return [(rows.arrived_s[row], rows.mended_s[row], rows.cause[row]) for row in own]
        seen_s = np.where(rows.latent, rows.arrived_s, rows.failed_s)
        return [(seen_s[row], rows.mended_s[row], rows.cause[row]) for row in own if rows.affecting[row]]

    def is_down(part, cause=-1, **how):
        return any(since <= time_s < until and why & cause for since, until, why in spans(part, **how))

    def last(changes, owner, before):
        times, values = changes.of(owner)
        return int(values[times <= time_s][-1]) if (times <= time_s).any() else before

    up = sum(1 << bit for bit, part in enumerate(depends.own) if not is_down(part))
    chains = [
        [
            order if group < 0 else last(log.transmitters, group, order)
            for group, order in zip(*end, strict=True)
        ]
        for end in zip(depends.groups, structure.nominal_transmitting, strict=True)
    ]
    stuck = [last(log.stuck, switch, 0) for switch in depends.switches] or [0, 0]
    causes = [[0] * len(structure.radio_loss_db) for _ in (0, 1)]
    for end, site in enumerate(depends.sites):
        for intervals, cause in (
            (log.sites.power_down, Cause.POWER),
            (log.sites.maintenance, Cause.MAINTENANCE),
        ):
            if any(since <= time_s < until for since, until in zip(*intervals.of(site), strict=True)):
                causes[end] = [each | int(cause) for each in causes[end]]
    for group in {each.group for each in depends.outside}:
        members = [each for each in depends.outside if each.group == group]
        if all(is_down(each.part, mending=each.mending) for each in members):
            struck = any(is_down(each.part, int(Cause.LIGHTNING)) for each in members)
            for radio in members[0].radios:
                causes[members[0].end][radio] |= members[0].cause | (int(Cause.LIGHTNING) if struck else 0)
    for place, part in enumerate(depends.own):
        if is_down(part, int(Cause.LIGHTNING)):
            for radio in structure.parts[place].radios:
                causes[structure.parts[place].end][radio] |= int(Cause.LIGHTNING)
    return link_state(structure, up, tuple(map(tuple, chains)), tuple(map(tuple, causes)), tuple(stuck))


def test_segments_are_what_the_log_tells_row_by_row():
    ready = prepare(read_network(DEMO).network, PLAIN)
    plant, duration_s = ready.built.plant, 40 * SECONDS_PER_YEAR
    rng, n_sites, n_storms = np.random.default_rng(5), len(ready.built.plant.sites), 2000
    apart_s = duration_s / n_storms
    start_s = apart_s * (np.arange(n_storms) + rng.uniform(0.0, 0.9, (n_sites, n_storms)))
    end_s = start_s + 0.1 * apart_s
    storms = Intervals(n_storms * np.arange(n_sites + 1), start_s.ravel(), end_s.ravel())
    log = simulate_failures(plant, Streams(5, 0), duration_s, storms=storms)
    cutter = Cutter(ready.built.hops, [LinkStates(design) for design in ready.designs])
    told = set()
    for hop, found in enumerate(cutter.segments(log)):
        edges = np.append(found.start_s, duration_s)
        times_s = np.concatenate(
            [edges[:-1], 0.5 * (edges[:-1] + edges[1:]), rng.uniform(0.0, duration_s, 50)]
        )
        for time_s in rng.choice(times_s, 200):
            expected = state_at(ready, hop, log, time_s)
            at = found.states[found.state[np.searchsorted(found.start_s, time_s, side="right") - 1]]
            assert at.line_causes.tolist() == expected.line_causes.tolist(), (hop, time_s)
            assert at.causes.tolist() == expected.causes.tolist(), (hop, time_s)
            assert at.extra_loss_db.tolist() == expected.extra_loss_db.tolist(), (hop, time_s)
            assert at.stuck == expected.stuck, (hop, time_s)
            told |= {cause for cause in Cause if np.bitwise_or.reduce(at.causes.ravel()) & int(cause)}
    assert {Cause.POWER, Cause.LIGHTNING, Cause.OUTDOOR_RADIO, Cause.COMMON_UNIT, Cause.SWITCHING} <= told
