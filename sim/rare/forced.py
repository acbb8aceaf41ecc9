"""Rare failures put into ordinary histories one at a time, each weighted by its known rate.

Let X_C be all that fails of common kinds and X_R what fails of rare ones, and G_x what a figure F grows by
when rare x (a part, or a strike of lightning) comes at time t in the history with all of X_C and with X_R
before t only. Adding the rare failures in order of time gives, for any figure, with queues, spares and
standbys as they are,

    E F(X_C, X_R) = E F(X_C) + sum over x of INT lambda_x(t) E[G_x(X_C, X_R before t)] dt,

lambda_x the rate at which x comes, for a part 0 while it is down. The first term is the mean over histories
without rare failures; the second is drawn: x with some chance, the time evenly, and the growth weighted by
rate over chance. A failure that comes once in a thousand years is thus in every draw. Where x does harm only
because of what had failed before, that is drawn more often as well (``sim.rare.earlier``).

Any choice of the rare ones gives the same mean, so services may have different ones: those with a second
route that hardly anything stops by itself rest on histories and draws of their own.

References
----------
P. Bremaud, Point Processes and Queues (1981), the intensity formula; F. Baccelli, P. Bremaud, Advances in
Applied Probability 25 (1993) 221-234; from memory.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.working_time import HOUR_S
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.rare.alone import Alone, largest_of
from hopyears.sim.rare.candidates import Candidates
from hopyears.sim.rare.earlier import Earlier
from hopyears.sim.streams import Streams, keyed_uniforms

YEARS_OF_A_DRAW = 10.0
"""Years of history that cost as much as a draw: a kind of failure is put in by hand where that tells more."""

LEAST_SHARE = 0.2
"""Least share of a part of the draws, over that of a typical one: weights stay within five
times the typical."""

SELDOM_PER_YEAR = 0.005
"""A service with a second route that single common failures stop less often than this rests on failures
that meet."""

MOST_SPARES = 3
"""Stores with more spares that fit are not emptied by hand."""


@dataclass(frozen=True)
class ByHand:
    """Failures and strikes put in by hand for some services.

    Attributes
    ----------
    services : int array
        Numbers of the services; together those of a network have each once.
    events : int array, shape (n,)
        Numbers of parts in the plant, and beyond these of sites that lightning strikes; may be none.
    rate_per_year : float array, shape (n,)
        Of each, in the mean of years.
    chance : float array, shape (n,)
        Share of the draws in which each comes, above 0; they sum to 1.
    earlier : tuple of tuples of Earlier
        For each, ways to put in failures before it; none where it does harm by itself.
    n_parts : int
        Parts of the plant.
    """

    services: Ints
    events: Ints
    rate_per_year: Floats
    chance: Floats
    earlier: tuple[tuple[Earlier, ...], ...]
    n_parts: int

    @cached_property
    def held(self) -> Bools:
        """Which parts do not fail by themselves, shape (n_parts,)."""
        found = np.zeros(self.n_parts, dtype=np.bool_)
        found[self.events[self.events < self.n_parts]] = True
        return found

    @cached_property
    def struck_sites(self) -> Ints:
        """Sites that lightning does not strike by itself."""
        return self.events[self.events >= self.n_parts] - self.n_parts

    @property
    def weight_per_year(self) -> Floats:
        """Weight of a draw of each: what it adds is that much a year."""
        return self.rate_per_year / self.chance

    def longest_s(self, every: Candidates, among: Bools | None = None) -> Floats:
        """Longest outage that what is put in makes by itself, times its weight, of each of the services, 0
        where none does [s a year].

        Parameters
        ----------
        every : Candidates
            Of the network.
        among : bool array, shape (n_candidates,), optional
            Those that count.
        """
        weighted_s = self.weight_per_year * every.restore_s[self.events]
        if among is not None:
            weighted_s = np.where(among[self.events], weighted_s, 0.0)
        return largest_of(every.lost_s[self.events][:, self.services], weighted_s)

    def drawn(self, plant: Plant, streams: Streams, n: int) -> Ints:
        """Places in ``events`` of what comes in the first ``n`` draws of a block.

        Each has its own exponential variable in every draw, over its chance, and the least one comes: a
        changed plan so moves few draws.
        """
        names = [
            ("forced", plant.parts[event].id)
            if event < self.n_parts
            else ("forced strike", plant.sites[event - self.n_parts].id)
            for event in self.events.tolist()
        ]
        keys = streams.keys(names)
        waits = -np.log(keyed_uniforms(keys, np.arange(n, dtype=np.uint64)).T) / self.chance
        return np.asarray(waits.argmin(axis=1), dtype=np.int64)


@dataclass(frozen=True)
class _Hands:
    """What is put in by hand for all services of a network."""

    hands: tuple[ByHand, ...]


def by_hand(prepared: Prepared, single: Alone) -> tuple[ByHand, ...]:
    """What is put in by hand, for the services of a network by groups with the same; each is in one group.

    Which failures are chosen decides how much is won, never whether the mean is right. Chosen once for a
    network made ready.
    """
    return prepared.known.of(_Hands, lambda: _Hands(_by_groups(prepared, single))).hands


def _by_groups(prepared: Prepared, single: Alone) -> tuple[ByHand, ...]:
    every = Candidates.of(prepared, single)
    chosen = _that_stop_alone(every)
    common = every.rate_per_year * every.harmful
    common[chosen] = 0.0
    often = common @ (every.lost_s > 0.0)
    second = np.array([len(demand.routes) > 1 for demand in prepared.demands], dtype=np.bool_)
    n_parts = len(prepared.built.plant.parts)
    weakly = single.weakens[np.flatnonzero(every.able[:n_parts])] > 0
    meeting = second & single.works & (often < SELDOM_PER_YEAR) & (np.ones(weakly.shape[0]) @ weakly > 0)
    found = []
    if not meeting.all() or not meeting.size:
        chance = _shares(_harm(every.rate_per_year, every.lost_s)[chosen])
        earlier = _stores(prepared.built.plant, every, chosen)
        found.append(
            ByHand(np.flatnonzero(~meeting), chosen, every.rate_per_year[chosen], chance, earlier, n_parts)
        )
    if meeting.any():
        strikes = chosen[chosen >= n_parts]
        routes = np.array([len(demand.routes) for demand in prepared.demands])[meeting]
        found.append(
            _that_meet(prepared.built.plant, every, single, np.flatnonzero(meeting), routes, strikes)
        )
    return tuple(found)


def _that_stop_alone(every: Candidates) -> Ints:
    """What stops a service by itself, of the kinds of which draws tell more than histories do.

    Losses D that come L times a year give a history of T years the variance L E[D^2] / T, and a draw of which
    a share P has a part that stops the service (L^2 / P) E[D^2]: draws win where L < P / T. Kinds that most
    of the services that they stop lose by are left to histories, and so are parts that wear out, have infant
    failures or mostly fail without harm.
    """
    harm = _harm(every.rate_per_year, every.lost_s)
    kinds: dict[str, list[int]] = {}
    for event, kind in enumerate(every.kind):
        if every.able[event] and every.harmful[event] == 1.0 and harm[event] > 0.0:
            kinds.setdefault(kind, []).append(event)
    stops = {name: every.lost_s[own] > 0.0 for name, own in kinds.items()}
    while kinds:
        events = np.array(sorted(event for own in kinds.values() for event in own), dtype=np.int64)
        of_event = np.zeros(len(every.kind))
        of_event[events] = _shares(harm[events])
        worth = {
            name: _worth(every.rate_per_year[own], of_event[own], stops[name]) for name, own in kinds.items()
        }
        least = min(worth, key=worth.__getitem__)
        if worth[least] >= 1.0:
            return events
        del kinds[least]
    return np.zeros(0, dtype=np.int64)


def _harm(rate: Floats, lost_s: csr_array) -> Floats:
    """What decides how often each is drawn: the time that it takes a year, and how many services it stops."""
    counts, most_s = np.diff(lost_s.indptr), np.zeros(rate.size)
    np.maximum.at(most_s, np.repeat(np.arange(rate.size), counts), lost_s.data)
    return np.asarray(rate * most_s * np.sqrt(counts))


def _shares(harm: Floats) -> Floats:
    share = np.maximum(harm, LEAST_SHARE * harm.mean()) if harm.size else harm
    return np.asarray(share / share.sum())


def _worth(rate: Floats, chance: Floats, stops: csr_array) -> float:
    """How many times more a draw tells than a history about a kind, for the service in the middle."""
    often, share = rate @ stops, chance @ stops
    hit = often > 0.0
    return float(np.median(share[hit] / (often[hit] * YEARS_OF_A_DRAW))) if hit.any() else 0.0


def _stores(plant: Plant, every: Candidates, events: Ints) -> tuple[tuple[Earlier, ...], ...]:
    """How the stores of what fits each part are emptied before it fails; none where they cannot be."""
    known: dict[frozenset[str], tuple[Earlier, ...]] = {frozenset(): ()}
    takers: dict[str, set[int]] = {}
    for part in np.flatnonzero(every.able[: len(plant.parts)] & ~_resting(plant)).tolist():
        for item in _fitting(plant, part):
            takers.setdefault(item, set()).add(part)
    found = []
    for event in events.tolist():
        fitting = frozenset(_fitting(plant, event) if event < len(plant.parts) else ())
        if fitting not in known:
            stock = sum(depot.stock.get(item, 0) for depot in plant.depots for item in fitting)
            parts = np.array(sorted(set().union(*(takers.get(item, set()) for item in fitting))), np.int64)
            known[fitting] = ()
            if 1 <= stock <= MOST_SPARES and parts.size:
                lead_s = max(depot.lead_time.mean_h for depot in plant.depots) * HOUR_S
                rate = every.rate_per_year[parts]
                lag_s = np.full(parts.size, lead_s)
                known[fitting] = (Earlier(parts, rate / rate.sum(), lag_s, _per_s(rate), stock),)
        found.append(known[fitting])
    return tuple(found)


def _that_meet(
    plant: Plant, every: Candidates, single: Alone, services: Ints, n_routes: Ints, strikes: Ints
) -> ByHand:
    """Parts that each take a route of some services, or all: one is put in while another takes the others.

    Parts that stand in for each other on one hop are left to histories, which see failed switches as well.
    """
    n = len(plant.parts)
    all_routes = (1 << n_routes) - 1
    parts = np.flatnonzero(every.able[:n])
    by_strike = every.lost_s[strikes][:, services].toarray() > 0.0
    weak = np.concatenate([single.weakens[parts][:, services].toarray(), np.where(by_strike, all_routes, 0)])
    hit = np.flatnonzero(weak.any(axis=1))
    events, weak = np.concatenate([parts, strikes])[hit], weak[hit]
    stopped, rate = every.lost_s[events][:, services].toarray() > 0.0, every.rate_per_year[events]
    down_s = every.restore_s[events]  # lags of twice the mean time down waste least (tried)
    often_down = rate * every.harmful[events] * down_s
    can_be_earlier = (events < n) & ~np.append(_resting(plant), np.ones(len(plant.sites), np.bool_))[events]
    harm, partners = np.zeros(len(events)), [np.zeros(0, dtype=np.int64)] * len(events)
    for column, routes in enumerate(all_routes.tolist()):
        stops = stopped[:, column]
        harm = np.where(stops, np.maximum(harm, often_down), harm)
        ours = np.flatnonzero((weak[:, column] > 0) & ~stops)
        earlier = ours[can_be_earlier[ours]]
        for place in ours.tolist():
            near = earlier[(weak[earlier, column] | weak[place, column]) == routes]
            partners[place] = np.union1d(partners[place], near)
            meets = often_down[near].sum() / (HOURS_PER_YEAR * HOUR_S)
            harm[place] = max(harm[place], often_down[place] * meets)
    ways = tuple(
        (*_meeting(events[near], often_down[near], down_s[near], rate[near]), *store)
        for near, store in zip(partners, _stores(plant, every, events), strict=True)
    )
    return ByHand(services, events, rate, _shares(harm), ways, n)


def _meeting(parts: Ints, often_down: Floats, down_s: Floats, rate: Floats) -> tuple[Earlier, ...]:
    """The way in which one of some parts has failed before; none where there is none."""
    return (Earlier(parts, _shares(often_down), down_s, _per_s(rate)),) if parts.size else ()


def _fitting(plant: Plant, number: int) -> tuple[str, ...]:
    """Spares that fit a part."""
    part = plant.parts[number]
    kind = plant.kinds[part.kind]
    return part.fitting or ((kind.spare,) if kind.spare else ())


def _resting(plant: Plant) -> Bools:
    """Parts that may be switched off, and then do not fail, shape (n_parts,)."""
    found = np.zeros(len(plant.parts), dtype=np.bool_)
    for group in plant.groups:
        if group.cold:
            found[[part for chain in group.chains for part in chain]] = True
    return found


def _per_s(rate_per_year: Floats) -> Floats:
    return rate_per_year / (HOURS_PER_YEAR * HOUR_S)
