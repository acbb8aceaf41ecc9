"""Which radio of a protected channel end transmits: changeover, failure to switch, reversion, tests."""

from collections.abc import Callable
from functools import partial

import simpy
from simpy.events import Event

from hopyears.models.equipment.plant import ProtectionGroup
from hopyears.models.equipment.working_time import HOUR_S
from hopyears.sim.equipment.dispatch import Episode
from hopyears.sim.equipment.draws import Draws, Purpose

NOBODY = -1
"""In place of a chain: no radio transmits."""


class Changeover:
    """The switch of one protection group.

    Parameters
    ----------
    env : simpy.Environment
        Clock.
    index : int
        Number of the group, for its draws.
    group : ProtectionGroup
        Chains and switch.
    draws : Draws
        Draws of the groups.
    urgent : callable
        Called when a waiting fault has become urgent.

    Attributes
    ----------
    log : list of (time [s], chain)
        Changes of the transmitting chain; -1 for none. The main chain (0) transmits before the first.
    """

    def __init__(
        self,
        env: simpy.Environment,
        index: int,
        group: ProtectionGroup,
        draws: Draws,
        urgent: Callable[[], None],
    ) -> None:
        self._env, self._index, self._group = env, index, group
        self._draws, self._urgent = draws, urgent
        self._down: list[list[Episode]] = [[] for _ in group.chains]
        self._hidden: list[list[Episode]] = [[] for _ in group.chains]
        self._active = 0
        self._position = 0
        self._stuck = False
        self._demands = 0
        self._main_mended_s = -float("inf")
        self.log: list[tuple[float, int]] = []

    def rests(self, chain: int) -> bool:
        """Whether a chain is switched off and so does not age."""
        return self._group.cold and chain != self._active

    def mutes(self, chain: int) -> bool:
        """Whether a failure of the chain's transmitter could pass unseen."""
        return chain != self._active and self._active != NOBODY

    @property
    def silent(self) -> bool:
        """Whether no chain transmits."""
        return self._active == NOBODY

    def stopped(self, chain: int, episode: Episode) -> None:
        """A chain is taken out of service while a part outside of it is mended."""
        self._down[chain].append(episode)
        if chain == self._active:
            self._seek()

    def failed(self, chain: int, episode: Episode) -> None:
        """A part of a chain has failed."""
        if episode.latent:
            # Whoever finds it by a test finds lost protection: no emergency.
            episode.priority = max(episode.priority, 1)
            self._hidden[chain].append(episode)
            return
        self._down[chain].append(episode)
        if chain == self._active:
            self._seek()
        if self._active == NOBODY and not self._stuck:
            self._make_urgent()
        else:
            episode.priority = max(episode.priority, 1)

    def found(self, chain: int, episode: Episode) -> None:
        """A latent failure has been seen, by a test or because the chain was called."""
        if episode in self._hidden[chain]:
            self._hidden[chain].remove(episode)
            self._down[chain].append(episode)

    def test(self) -> None:
        """A routine test at the site: whatever has failed unseen is seen."""
        for episodes in self._hidden:
            for episode in episodes:
                if episode.found is not None and not episode.found.triggered:
                    episode.found.succeed()

    def mended(self, chain: int, episode: Episode) -> None:
        """A part of a chain works again."""
        self._down[chain].remove(episode)
        if self._down[chain] or self._hidden[chain]:
            return
        if self._active == NOBODY:
            if chain == self._position:
                self._stuck = False
                self._transmit(chain, self._env.now)
            elif not self._stuck:
                self._seek()
        elif self._group.revertive and chain == 0 and self._active != 0:
            self._main_mended_s = self._env.now
            self._after(self._group.wait_to_restore_s, partial(self._revert, self._env.now))

    def _seek(self) -> None:
        """Look for a chain to take over the traffic."""
        self._silence()
        for chain, down in enumerate(self._down):
            if down:
                continue
            if chain != self._position and self._refuses():
                self._stuck = True
                wait_h = self._group.manual_switch.quantile_h(self._draw(Purpose.MANUAL))
                self._after(wait_h * HOUR_S, partial(self._switch_by_hand, self._demands))
                return
            if self._call(chain):
                return

    def _call(self, chain: int) -> bool:
        """Give the traffic to a chain; False if it turns out to be dead."""
        if self._hidden[chain]:
            for episode in list(self._hidden[chain]):
                self.found(chain, episode)
                if episode.found is not None and not episode.found.triggered:
                    episode.found.succeed()
            return False
        self._transmit(chain, self._env.now + self._group.switch_time_s)
        return True

    def _switch_by_hand(self, demand: int, _: Event) -> None:
        if not self._stuck or demand != self._demands:
            return
        self._stuck = False
        if self._active == NOBODY:
            for chain, down in enumerate(self._down):
                if not down and self._call(chain):
                    return
            self._make_urgent()

    def _revert(self, mended_s: float, _: Event) -> None:
        ready = not (self._down[0] or self._hidden[0] or self._stuck)
        if (
            ready
            and mended_s == self._main_mended_s
            and self._active not in (0, NOBODY)
            and not self._refuses()
        ):
            self._silence()
            self._transmit(0, self._env.now + self._group.switch_time_s)

    def _refuses(self) -> bool:
        self._demands += 1
        return self._draw(Purpose.SWITCH) < self._group.switch_failure

    def _draw(self, purpose: Purpose) -> float:
        return self._draws.uniform(self._index, purpose, self._demands)

    def _silence(self) -> None:
        while self.log and self.log[-1][0] > self._env.now:
            self.log.pop()
        if not self.log or self.log[-1][1] != NOBODY:
            self.log.append((self._env.now, NOBODY))
        self._active = NOBODY

    def _transmit(self, chain: int, time_s: float) -> None:
        self.log.append((time_s, chain))
        self._active = self._position = chain

    def _make_urgent(self) -> None:
        waiting = [episode for chain in self._down for episode in chain if episode.priority != 0]
        for episode in waiting:
            episode.priority = 0
        if waiting:
            self._urgent()

    def _after(self, wait_s: float, then: Callable[[Event], None]) -> None:
        timer = self._env.timeout(wait_s)
        timer.callbacks.append(then)
