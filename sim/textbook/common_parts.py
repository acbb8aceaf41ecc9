"""Textbook unavailability of parts, of power, and of what a site's hops have in common."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from itertools import combinations
from math import exp, prod

from scipy.special import bdtrc

from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.part_kind import PartKind, Place, Repair, kinds_at
from hopyears.models.equipment.power import dark_h_per_year
from hopyears.models.network.network import Power, Radio
from hopyears.models.radio.scheme import Scheme, radios_of
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.equipment.plant_builder import over_kind

_Radios = frozenset[tuple[int, int]]
"""Radios at one site: (hop, radio) each."""


class _PartChances(dict[tuple[int, str | None], dict[str, float]]):
    """By site and type of outdoor radios, what ``part_unavailability`` gives."""


class _DarkShares(dict[int, float]):
    """By site, what ``power_unavailability`` gives."""


def part_unavailability(prepared: Prepared, site_index: int, radio: Radio | None = None) -> dict[str, float]:
    """Textbook unavailability of each kind of part at a site: mean time to restore over that and MTBF.

    Restoring takes dispatch, travel from the nearest crew and the swap; nobody queues, no spare lacks, no
    storm delays a climb. ``radio`` is the type of outdoor radios.
    """
    known = prepared.known.of(_PartChances, _PartChances)
    asked = (site_index, None if radio is None else radio.id)
    if asked not in known:
        chances, network = known.setdefault(asked, {}), prepared.network
        for key, kind in prepared.built.plant.kinds.items():
            restore_h = _restore_h(prepared, site_index, kind)
            factor = network.sites[site_index].failure_factor
            factor *= 1.0 if radio is None else over_kind(network, key, radio)
            chances[key] = kind.affecting_share * restore_h / (kind.life.mean_h / factor + restore_h)
    return known[asked]


def _restore_h(prepared: Prepared, site_index: int, kind: PartKind) -> float:
    """Mean time from a failure at a site until the part works again [h]."""
    plant = prepared.built.plant
    travel_h = plant.bases_near(site_index, None)[0][0]
    return plant.dispatch.mean_h + (0.0 if kind.repair is Repair.REMOTE else travel_h) + kind.mend.mean_h


def power_unavailability(prepared: Prepared, site_index: int) -> float:
    """Share of time that a site is dark: by mains outages, at their stated mean rate, and by rectifiers.

    0 for a solar-powered site: there is no closed form for a run of dull days, and a planning sheet sizes the
    battery so that it lasts.
    """
    known = prepared.known.of(_DarkShares, _DarkShares)
    if site_index not in known:
        known[site_index] = _dark_share(prepared, site_index)
    return known[site_index]


def _dark_share(prepared: Prepared, site_index: int) -> float:
    supply = prepared.built.plant.sites[site_index].power
    if supply is None or supply.solar is not None:
        return 0.0
    stated = prepared.network.power_of(prepared.network.sites[site_index])
    supply = replace(supply, mains_outages_per_year=stated.mains_outages_per_year)
    return dark_h_per_year(supply) / HOURS_PER_YEAR + _rectifiers_spent(prepared, site_index, stated)


def _rectifiers_spent(prepared: Prepared, site_index: int, power: Power) -> float:
    """Share of time that too few rectifiers work and a new battery, full when they failed, is spent.

    Times to restore are taken as exponential; ``m`` modules down at once then last 1/m as long as one.
    """
    total = 0.0
    for kind in kinds_at(Place.SUPPLY) if power.rectifiers else ():
        unavailability = part_unavailability(prepared, site_index)[kind.key]
        short = float(bdtrc(power.rectifiers - power.rectifiers_needed, power.rectifiers, unavailability))
        down = power.rectifiers - power.rectifiers_needed + 1
        restore_h = _restore_h(prepared, site_index, prepared.built.plant.kinds[kind.key])
        total += short * exp(-power.battery_h * down / restore_h)
    return total


def planned_share(prepared: Prepared, sites: Collection[int]) -> float:
    """Share of time in which planned work stops one of some sites, each by itself."""
    works = (work for site in sites for work in prepared.built.plant.sites[site].planned)
    return sum(work.per_year * work.outage_share * work.duration.mean_h for work in works) / HOURS_PER_YEAR


def site_unavailability(
    prepared: Prepared, site_index: int, hops: Collection[int], fails: Callable[[frozenset[int]], bool] = bool
) -> float:
    """Common parts and power of a site, added up for these hops (some that end there), all to work.

    ``fails`` says whether it is too much when these of the hops are stopped; any hop is unless stated. A part
    (with those that stand in for it) counts when it fails them by itself; two indoor units' parts count
    together, as a product, when they do so only together: a standby in a unit of its own. A part that stops
    others only while it is mended counts for so long, unless it is one of the hops' own.
    """
    by_kind = part_unavailability(prepared, site_index)
    own = {part for hop in hops for part in prepared.built.hops[hop].own}
    plant = prepared.built.plant
    down: dict[str, _Radios] = {}
    members: dict[str, dict[int, float]] = {}
    for hop in hops:
        dependence = prepared.built.hops[hop]
        for part in dependence.outside:
            if dependence.sites[part.end] == site_index and not (part.mending and part.part in own):
                held = frozenset((hop, radio) for radio in part.radios)
                down[part.group] = down.get(part.group, frozenset()) | held
                kind = plant.kinds[plant.parts[part.part].kind]
                share = kind.mend.mean_h / _restore_h(prepared, site_index, kind) if part.mending else 1.0
                members.setdefault(part.group, {})[part.part] = share * by_kind[kind.key]
    chance = {group: prod(parts.values()) for group, parts in members.items()}
    schemes = {hop: prepared.designs[hop].scheme for hop in hops}
    alone = {group for group, radios in down.items() if fails(_stopped(radios, schemes))}
    total = sum(chance[group] for group in sorted(alone))
    for one, other in combinations(sorted(down.keys() - alone), 2):
        if fails(_stopped(down[one] | down[other], schemes)):
            total += chance[one] * chance[other]
    return total + power_unavailability(prepared, site_index)


def links_unavailability(
    prepared: Prepared, site_index: int, links: Sequence[Sequence[int]], rate_mbit_s: float
) -> float:
    """The same of the hops of some links, each link to carry a rate with those of its hops that are left."""

    def fails(stopped: frozenset[int]) -> bool:
        for link in links:
            left = [hop for hop in link if hop not in stopped]
            if len(left) < len(link) and (
                not left or sum(prepared.designs[hop].clear_capacity_mbit_s for hop in left) < rate_mbit_s
            ):
                return True
        return False

    ending = [hop for link in links for hop in link if site_index in prepared.built.hops[hop].sites]
    return site_unavailability(prepared, site_index, ending, fails)


def _stopped(down: _Radios, schemes: dict[int, Scheme]) -> frozenset[int]:
    """Those of the hops that have too few channels which can still transmit here."""
    stopped = set()
    for hop, scheme in schemes.items():
        left = {
            radio.channel for radio in radios_of(scheme) if radio.transmits and (hop, radio.index) not in down
        }
        if len(left) < scheme.working:
            stopped.add(hop)
    return frozenset(stopped)
