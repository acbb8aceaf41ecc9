"""Depots of spares on the SimPy clock: the most urgent fault is served first, and may take a spare back.

Every spare asked for is ordered again (base stock, one for one), in the end the kind that was taken. What a
depot does not list it does not keep: a fault that needs it waits for an order. A spare that a less urgent
fault holds, and with which no crew has set off, goes to a more urgent one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import simpy
from simpy.events import Event

from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.working_time import HOUR_S
from hopyears.sim.equipment.dispatch import Dispatcher, Episode


@dataclass(slots=True, eq=False)
class _Claim:
    """A fault that needs a spare: what fits it, specific before general, and the event of having it.

    ``ordered`` is the kind of spare that is on order in its place.
    """

    episode: Episode
    fitting: Sequence[str]
    asked_s: float
    ready: Event
    ordered: str = ""
    item: str = ""
    expressed: bool = False

    @property
    def order(self) -> tuple[int, float]:
        """Who goes first: the more urgent, then the older."""
        return self.episode.priority, self.asked_s


@dataclass(slots=True, eq=False)
class _Order:
    """A spare on its way to a depot."""

    due_s: float
    depot: int
    item: str


class Stores:
    """All depots of a plant.

    Parameters
    ----------
    env : simpy.Environment
        Clock.
    plant : Plant
        Depots and sites.
    dispatcher : Dispatcher
        Notified when a fault that waits for a crew has lost its spare.
    unlimited : bool
        Spares never lack but are fetched at the nearest depot that keeps them all the same.
    """

    def __init__(self, env: simpy.Environment, plant: Plant, dispatcher: Dispatcher, unlimited: bool) -> None:
        self._env, self._plant, self._dispatcher, self._unlimited = env, plant, dispatcher, unlimited
        self._level = {
            (i, item): stock for i, depot in enumerate(plant.depots) for item, stock in depot.stock.items()
        }
        self._orders: dict[tuple[int, str], list[_Order]] = {key: [] for key in self._level}
        self._waiting: list[_Claim] = []
        self._held: list[_Claim] = []

    def ask(self, episode: Episode, fitting: Sequence[str], lead_time_draw: float) -> Event:
        """The event of having a spare for a fault.

        Parameters
        ----------
        episode : Episode
        fitting : sequence of str
            Kinds of spare that fit, the most specific first, for instance ``outdoor_radio/r18`` and
            ``outdoor_radio``; at least one.
        lead_time_draw : float
            Uniform draw of the time that the order in its place takes, 0 to 1.
        """
        claim = _Claim(episode, fitting, self._env.now, self._env.event())
        if self._unlimited or not self._plant.depots:
            kept = [
                (i, item)
                for i in self._plant.depots_near[episode.site]
                for item in fitting
                if (i, item) in self._level
            ]
            episode.depot = kept[0][0] if kept else None
            return claim.ready.succeed()
        self._waiting.append(claim)
        depot, item = self._home(claim)
        claim.ordered = item
        law = self._plant.depots[depot].lead_time
        self._order(depot, item, self._env.now + law.quantile_h(lead_time_draw) * HOUR_S)
        self.review()
        return claim.ready

    def lost(self, episode: Episode) -> Event | None:
        """The event of having a spare again, for a fault that has lost it to a more urgent one; else None."""
        return next((claim.ready for claim in self._waiting if claim.episode is episode), None)

    def used(self, episode: Episode) -> None:
        """A crew stands at the fault with its spare: nobody takes that back."""
        self._held = [claim for claim in self._held if claim.episode is not episode]

    def review(self) -> None:
        """Serve who can be served, for instance after a spare has come or a fault has become urgent."""
        for claim in sorted(self._waiting, key=lambda each: each.order):
            found = self._in_stock(claim) or self._take_back(claim)
            if found is not None:
                self._hand_over(claim, *found)
            elif claim.episode.priority == 0:
                self._express(claim)

    def _in_stock(self, claim: _Claim) -> tuple[int, str] | None:
        """Nearest depot with a fitting spare."""
        for depot in self._plant.depots_near[claim.episode.site]:
            for item in claim.fitting:
                if self._level.get((depot, item), 0) >= 1:
                    self._level[depot, item] -= 1
                    return depot, item
        return None

    def _take_back(self, claim: _Claim) -> tuple[int, str] | None:
        """A fitting spare of the least urgent fault that holds one, if that is less urgent than this."""
        holders = [
            held
            for held in self._held
            if held.item in claim.fitting
            and held.episode.priority > claim.episode.priority
            and held.episode.crew < 0
        ]
        if not holders:
            return None
        loser = max(holders, key=lambda each: each.order)
        self._held.remove(loser)
        depot, item = loser.episode.depot, loser.item
        assert depot is not None  # it holds a spare of that depot
        loser.ready, loser.episode.depot = self._env.event(), None
        self._waiting.append(loser)
        self._dispatcher.withdraw(loser.episode)
        return depot, item

    def _hand_over(self, claim: _Claim, depot: int, item: str) -> None:
        self._waiting.remove(claim)
        claim.item, claim.episode.depot = item, depot
        self._order_that(claim, item)
        nearest = self._plant.depots_near[claim.episode.site][0]
        ships_h = self._plant.depots[depot].ships_h
        if depot != nearest and ships_h is not None:
            claim.episode.depot = nearest
            self._later(self._env.now + ships_h * HOUR_S, lambda: claim.ready.succeed())
            return
        self._held.append(claim)
        claim.ready.succeed()

    def _home(self, claim: _Claim) -> tuple[int, str]:
        """Depot and kind of spare that an order in a fault's place goes to."""
        near = self._plant.depots_near[claim.episode.site]
        kept = ((i, item) for i in near for item in claim.fitting if (i, item) in self._level)
        return next(kept, (near[0], claim.fitting[0]))

    def _order(self, depot: int, item: str, due_s: float) -> None:
        order = _Order(due_s, depot, item)
        self._orders.setdefault((depot, item), []).append(order)
        self._later(due_s, lambda: self._arrive(order))

    def _arrive(self, order: _Order) -> None:
        place = order.depot, order.item
        if order not in self._orders[place]:  # another was made in its place
            return
        self._orders[place].remove(order)
        self._level[place] = self._level.get(place, 0) + 1
        self.review()

    def _order_that(self, claim: _Claim, item: str) -> None:
        """The order in a fault's place becomes one of the kind that it takes, where that is another: else
        faults that only this kind fits would wait for ever."""
        if item == claim.ordered:
            return
        late = self._last_order(claim, [claim.ordered])
        claim.ordered = item
        if late is not None:
            self._orders[late.depot, late.item].remove(late)
            late.item = item
            self._orders.setdefault((late.depot, item), []).append(late)

    def _last_order(self, claim: _Claim, items: Sequence[str]) -> _Order | None:
        """Last order of some kinds of spare: of the depot where those of the fault go, else of the nearest
        that has any."""
        near = self._plant.depots_near[claim.episode.site]
        places = [self._home(claim), *((i, item) for i in near for item in claim.fitting)]
        orders = (self._orders.get(place, []) for place in places if place[1] in items)
        return max(next(filter(None, orders), []), key=lambda order: order.due_s, default=None)

    def _express(self, claim: _Claim) -> None:
        """Bring the last order of a fitting spare forward, once, where the depot can."""
        late = self._last_order(claim, claim.fitting)
        if late is None:  # as those that have come went to faults that were first
            return
        express_h = self._plant.depots[late.depot].express_h
        if claim.expressed or express_h is None or late.due_s <= self._env.now + express_h * HOUR_S:
            return
        claim.expressed = True
        self._orders[late.depot, late.item].remove(late)
        self._order(late.depot, late.item, self._env.now + express_h * HOUR_S)

    def _later(self, time_s: float, then: Callable[[], object]) -> None:
        def woken(_: Event) -> None:
            then()

        self._env.timeout(max(time_s - self._env.now, 0.0)).callbacks.append(woken)
