"""The switch of a protected channel end, step by step on invented failures."""

from dataclasses import replace

import numpy as np
import pytest
import simpy
from bare_plant import HOUR, bare_plant, pair, unit_kind

from hopyears.models.equipment.lifetimes import Law
from hopyears.sim.equipment.changeover import Changeover
from hopyears.sim.equipment.dispatch import Dispatcher, Episode
from hopyears.sim.equipment.draws import Draws
from hopyears.sim.streams import Streams


class Bench:
    """A switch with two chains whose failures and repairs the test decides."""

    def __init__(self, **changes):
        group = pair(switch_time_s=0.1, **changes)
        plant = bare_plant(2, unit_kind(1e5, 5.0), crews=1, groups=[group])
        self.env = simpy.Environment()
        self.dispatcher = Dispatcher(self.env, plant, unlimited=False)
        draws = Draws(Streams(1, 0), [("group", group.id)])
        self.switch = Changeover(self.env, 0, group, draws, self.dispatcher.review)
        self.episodes = {}

    def run(self, *story):
        """Play (time [s], what, chain) steps and give the log of the transmitter."""
        for time_s, what, chain in story:
            if time_s > self.env.now:
                self.env.run(until=time_s)
            getattr(self, what)(chain)
        self.env.run(until=self.env.now + 1e6)
        return [(round(time_s, 6), chain) for time_s, chain in self.switch.log]

    def fail(self, chain):
        self.episodes[chain] = Episode(chain, 0, self.env.now, 1)
        self.switch.failed(chain, self.episodes[chain])

    def fail_unseen(self, chain):
        self.episodes[chain] = Episode(chain, 0, self.env.now, 1, latent=True, found=self.env.event())
        self.switch.failed(chain, self.episodes[chain])

    def test(self, chain):
        self.switch.found(chain, self.episodes[chain])

    def mend(self, chain):
        self.switch.mended(chain, self.episodes[chain])


def test_changeover_takes_its_time():
    assert Bench().run((10, "fail", 0), (50, "mend", 0)) == [(10, -1), (10.1, 1)]


def test_a_muted_chain_fails_without_a_gap():
    assert Bench().run((10, "fail", 1), (50, "mend", 1)) == []


def test_reversion_makes_a_second_gap():
    log = Bench(revertive=True, wait_to_restore_s=36.0).run((10, "fail", 0), (50, "mend", 0))
    assert log == [(10, -1), (10.1, 1), (86, -1), (86.1, 0)]


def test_reversion_waits_anew_after_another_failure():
    bench = Bench(revertive=True, wait_to_restore_s=36.0)
    log = bench.run((10, "fail", 0), (50, "mend", 0), (60, "fail", 0), (70, "mend", 0))
    assert log == [(10, -1), (10.1, 1), (106, -1), (106.1, 0)]


def test_both_down_then_the_first_mended_transmits():
    bench = Bench()
    log = bench.run((10, "fail", 0), (20, "fail", 1), (30, "mend", 0), (40, "mend", 1))
    assert log == [(10, -1), (10.1, 1), (20, -1), (30.1, 0)]
    log = Bench().run((10, "fail", 0), (20, "fail", 1), (30, "mend", 1), (40, "mend", 0))
    assert log == [(10, -1), (10.1, 1), (20, -1), (30, 1)]


def test_stuck_switch_is_worked_by_hand():
    log = Bench(switch_failure=1.0, manual_switch=Law.fixed(0.5)).run((10, "fail", 0))
    assert log == [(10, -1), (10 + 1800 + 0.1, 1)]


def test_stuck_switch_is_forgotten_once_the_main_is_mended():
    bench = Bench(switch_failure=1.0, manual_switch=Law.fixed(0.5))
    log = bench.run((10, "fail", 0), (100, "mend", 0), (200, "fail", 0))
    # The hand that was on its way for the first failure does not serve the second.
    assert log == [(10, -1), (100, 0), (200, -1), (200 + 1800 + 0.1, 1)]


def test_silent_standby_is_found_when_called():
    bench = Bench()
    log = bench.run((5, "fail_unseen", 1), (10, "fail", 0), (30, "mend", 0))
    assert log == [(10, -1), (30, 0)]
    assert bench.episodes[1].found.triggered


def test_silent_standby_found_by_a_test_is_not_called():
    bench = Bench()
    log = bench.run((5, "fail_unseen", 1), (7, "test", 1), (10, "fail", 0), (30, "mend", 1))
    assert log == [(10, -1), (30.1, 1)]
    assert not bench.episodes[1].found.triggered


def test_failure_during_the_changeover():
    log = Bench().run((10, "fail", 0), (10.05, "fail", 1), (30, "mend", 1))
    assert log == [(10, -1), (30, 1)]


def test_priority_follows_the_traffic():
    bench = Bench()
    bench.run((10, "fail", 0))
    assert bench.episodes[0].priority == 1
    bench.run((bench.env.now + 1, "fail", 1))
    assert bench.episodes[0].priority == 0
    assert bench.episodes[1].priority == 0


def test_only_a_chain_beside_one_that_transmits_fails_unseen():
    bench = Bench()
    assert [bench.switch.mutes(chain) for chain in (0, 1)] == [False, True]
    bench.run((10, "fail", 0))
    assert [bench.switch.mutes(chain) for chain in (0, 1)] == [True, False]
    # While nobody transmits, the site is silent and whatever fails is looked for.
    bench.run((bench.env.now + 1, "fail", 1))
    assert [bench.switch.mutes(chain) for chain in (0, 1)] == [False, False]


def test_two_standbys():
    group = replace(pair(switch_time_s=0.1), chains=((0,), (1,), (2,)))
    plant = bare_plant(3, unit_kind(1e5, 5.0), crews=1, groups=[group])
    env = simpy.Environment()
    dispatcher = Dispatcher(env, plant, unlimited=False)
    switch = Changeover(env, 0, group, Draws(Streams(1, 0), [("group", "pair")]), dispatcher.review)
    for chain in (0, 1):
        switch.failed(chain, Episode(chain, 0, env.now, 1))
    assert switch.log[-1] == (0.1, 2)


def test_demands_fail_at_the_stated_rate():
    group = pair(switch_failure=0.2, manual_switch=Law.fixed(HOUR))
    env = simpy.Environment()
    dispatcher = Dispatcher(env, bare_plant(2, unit_kind(1e5, 5.0), crews=1, groups=[group]), unlimited=False)
    draws = Draws(Streams(1, 0), [("group", str(i)) for i in range(2000)])
    stuck = 0
    for i in range(2000):
        switch = Changeover(env, i, group, draws, dispatcher.review)
        switch.failed(0, Episode(0, 0, env.now, 1))
        stuck += switch.log[-1][1] == -1
    assert stuck / 2000 == pytest.approx(0.2, abs=4 * np.sqrt(0.16 / 2000))


def test_a_standby_that_is_silently_dead_hands_on_the_call_to_the_next():
    group = replace(pair(switch_time_s=0.1), chains=((0,), (1,), (2,)))
    plant = bare_plant(3, unit_kind(1e5, 5.0), crews=1, groups=[group])
    env = simpy.Environment()
    dispatcher = Dispatcher(env, plant, unlimited=False)
    switch = Changeover(env, 0, group, Draws(Streams(1, 0), [("group", "pair")]), dispatcher.review)
    silent = Episode(1, 0, env.now, 1, latent=True, found=env.event())
    switch.failed(1, silent)
    switch.failed(0, Episode(0, 0, env.now, 1))
    assert switch.log == [(0.0, -1), (0.1, 2)]
    assert silent.found.triggered
    # One that works keeps the traffic: the next is not called too.
    fresh = Changeover(env, 0, group, Draws(Streams(1, 0), [("group", "pair")]), dispatcher.review)
    fresh.failed(0, Episode(0, 0, env.now, 1))
    assert fresh.log == [(0.0, -1), (0.1, 1)]


def test_what_fails_unseen_is_no_emergency():
    bench = Bench()
    bench.run((5, "fail_unseen", 1))
    assert bench.episodes[1].priority == 1
