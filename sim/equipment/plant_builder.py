"""From the network file to the plant: every part that fails, with who depends on it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from models import plant
from models.cause import Cause
from models.indoor_unit import SiteHardware, parts_of_site
from models.lifetimes import Law
from models.network import Maintenance, Network, PartChange, Power, Site
from models.part_kind import DISPATCH, PART_KINDS, PartKind
from models.power import Generator, PowerSupply, fair_weather_rate
from models.solar import Solar
from models.units import HOURS_PER_YEAR
from models.working_time import Shift
from sim.equipment.site_hardware import line_card_of, sites_hardware
from sim.hops.hop_design import HopDesign

COMMON_SITE_PARTS = ("power_distribution", "mast", "software")
"""Parts that every site has once, and that take down every radio there."""

_SITE_CAUSES = {"controller": Cause.COMMON_UNIT, "chassis": Cause.COMMON_UNIT, "fan": Cause.COMMON_UNIT}


@dataclass(frozen=True)
class OutsidePart:
    """A part outside the hop that holds some of its radios down.

    ``group`` names parts that stand in for each other: the radios are down only while all of a group are.
    """

    part: int
    end: int
    radios: tuple[int, ...]
    cause: int
    group: str


@dataclass(frozen=True)
class HopDependence:
    """What one hop depends on, as indices into the plant.

    ``own`` are its own parts in the order of its link structure's bits; ``groups`` holds, for each end
    and channel, the protection group that chooses the transmitter, or -1; ``sites`` are both ends' sites.
    """

    own: tuple[int, ...]
    outside: tuple[OutsidePart, ...]
    groups: tuple[tuple[int, ...], tuple[int, ...]]
    sites: tuple[int, int]


@dataclass(frozen=True)
class BuiltPlant:
    """A plant with the way back from its indices to hops and services.

    ``line_cards`` holds, by (service id, site id), the part index of the line card that carries the
    service there; services on an indoor unit's own port have none.
    """

    plant: plant.Plant
    hops: tuple[HopDependence, ...]
    line_cards: Mapping[tuple[str, str], int]


def build_plant(network: Network, designs: tuple[HopDesign, ...], storm_share: float = 0.0) -> BuiltPlant:
    """Plant of a network: hop parts, indoor units, site parts, crews, depots, protection groups.

    Parameters
    ----------
    network : Network
    designs : tuple of HopDesign
    storm_share : float
        Share of time, 0 to 1, with a storm over a site: mains fail more often then, and so less often in
        calm weather that the yearly mean stays as stated.
    """
    hardware = sites_hardware(network)
    site_index = {site.id: i for i, site in enumerate(network.sites)}
    parts = _all_parts(network, designs, hardware, site_index)
    part_index = {part.id: i for i, part in enumerate(parts)}
    outside = [tuple(_outside(design, hardware, part_index)) for design in designs]
    groups, hop_groups = _groups(network, designs, part_index, outside)
    dependences = tuple(
        HopDependence(
            own=tuple(part_index[part.id] for part in design.parts),
            outside=outside[i],
            groups=hop_groups[i],
            sites=(site_index[design.hop.site_a], site_index[design.hop.site_b]),
        )
        for i, design in enumerate(designs)
    )
    whole = plant.Plant(
        sites=tuple(_site(site, network, storm_share) for site in network.sites),
        parts=tuple(parts),
        groups=tuple(groups),
        crews=_crews(network),
        depots=_depots(network),
        kinds=part_kinds(network.parts),
        dispatch=Law.lognormal(network.repair.dispatch_h, DISPATCH.spread),
        road_factor=network.repair.road_factor,
        daylight_climbs=network.repair.daylight_climbs,
        lightning=plant.Lightning(network.lightning.strikes_per_storm_h, network.lightning.damage_chance),
    )
    cards = line_card_of(network, hardware)
    return BuiltPlant(whole, dependences, {key: part_index[card] for key, card in cards.items()})


def part_kinds(changes: tuple[PartChange, ...]) -> dict[str, PartKind]:
    """Table of part kinds with the network's changes."""
    kinds = dict(PART_KINDS)
    for change in changes:
        kind = kinds[change.kind]
        mean_h = change.mtbf_h or kind.life.mean_h
        if change.weibull_shape is not None:
            life = Law.weibull(mean_h, change.weibull_shape)
        else:
            life = Law(kind.life.kind, mean_h, kind.life.spread)
        mend = kind.mend if change.swap_h is None else Law(kind.mend.kind, change.swap_h, kind.mend.spread)
        shares = {
            field: getattr(change, field)
            for field in ("latent_share", "infant_share", "infant_mean_h")
            if getattr(change, field) is not None
        }
        kinds[change.kind] = replace(kind, life=life, mend=mend, **shares)
    return kinds


def _all_parts(
    network: Network,
    designs: tuple[HopDesign, ...],
    hardware: Mapping[str, SiteHardware],
    site_index: Mapping[str, int],
) -> list[plant.Part]:
    parts = [
        plant.Part(part.id, part.kind, site_index[(design.hop.site_a, design.hop.site_b)[part.end]])
        for design in designs
        for part in design.parts
    ]
    for site in network.sites:
        here = site_index[site.id]
        parts += [plant.Part(part.id, part.kind, here) for part in parts_of_site(hardware[site.id])]
        parts += [plant.Part(f"{site.id}/{kind}", kind, here) for kind in COMMON_SITE_PARTS]
    return parts


def _outside(
    design: HopDesign, hardware: Mapping[str, SiteHardware], part_index: Mapping[str, int]
) -> list[OutsidePart]:
    everything = tuple(range(design.scheme.n_radios))
    found = []
    for end, site_id in enumerate((design.hop.site_a, design.hop.site_b)):
        for part in parts_of_site(hardware[site_id]):
            radios = tuple(radio for hop_id, radio in part.radios if hop_id == design.hop.id)
            if radios:
                cause = int(_SITE_CAUSES[part.kind])
                found.append(OutsidePart(part_index[part.id], end, radios, cause, part.group))
        for kind in COMMON_SITE_PARTS:
            name = f"{site_id}/{kind}"
            found.append(OutsidePart(part_index[name], end, everything, int(PART_KINDS[kind].cause), name))
    return found


def _groups(
    network: Network,
    designs: tuple[HopDesign, ...],
    part_index: Mapping[str, int],
    outside: Sequence[Sequence[OutsidePart]],
) -> tuple[list[plant.ProtectionGroup], list[tuple[tuple[int, ...], tuple[int, ...]]]]:
    """Protection groups of all channel ends with two transmitters, and each hop's by end and channel."""
    switching = network.switching
    groups: list[plant.ProtectionGroup] = []
    by_hop: list[tuple[tuple[int, ...], tuple[int, ...]]] = []
    for design, beyond in zip(designs, outside, strict=True):
        ends: list[tuple[int, ...]] = []
        for end in (0, 1):
            row = []
            for channel, radios in enumerate(design.structure.radios_on):
                if len(radios) < 2:
                    row.append(-1)
                    continue
                chains = tuple(
                    _chain(design, end, radios[order], set(radios.values()), beyond, part_index)
                    for order in sorted(radios)
                )
                row.append(len(groups))
                site_id = (design.hop.site_a, design.hop.site_b)[end]
                groups.append(
                    plant.ProtectionGroup(
                        id=f"{design.hop.id}/{site_id}/channel-{channel + 1}",
                        chains=chains,
                        switch_time_s=switching.changeover_s,
                        switch_failure=switching.failure_on_demand,
                        revertive=switching.reverts,
                        test=Law.fixed(switching.standby_test_days * 24.0),
                    )
                )
            ends.append(tuple(row))
        by_hop.append((ends[0], ends[1]))
    return groups, by_hop


def _chain(
    design: HopDesign,
    end: int,
    radio: int,
    rivals: set[int],
    outside: Sequence[OutsidePart],
    part_index: Mapping[str, int],
) -> tuple[int, ...]:
    """Parts whose failure makes the transmitter change over: the radio's own, and those of an indoor unit
    that serves this radio and not the channel's other one, unless another part stands in for them."""
    own = [part_index[part.id] for part in design.parts if part.end == end and part.radios == (radio,)]
    members = Counter(part.group for part in outside)
    beyond = [
        part.part
        for part in outside
        if part.end == end and rivals & set(part.radios) == {radio} and members[part.group] == 1
    ]
    return (*own, *beyond)


def _site(site: Site, network: Network, storm_share: float) -> plant.Site:
    windows = tuple(_maintenance(window) for window in network.maintenance if window.site == site.id)
    return plant.Site(
        id=site.id,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        power=_supply(network.power_of(site), storm_share),
        maintenance=windows,
    )


def _maintenance(window: Maintenance) -> plant.Maintenance:
    per_year = HOURS_PER_YEAR / 24.0 / window.every_days
    return plant.Maintenance(
        per_year=per_year, window=Law.fixed(window.duration_h), start_h=window.start_h, outage_share=1.0
    )


def _supply(power: Power, storm_share: float) -> PowerSupply:
    law = (
        Law.lognormal_of_median(power.outage_median_min / 60.0, power.outage_ln_sd)
        if power.outage_ln_sd > 0
        else Law.fixed(power.outage_median_min / 60.0)
    )
    return PowerSupply(
        mains_outages_per_year=fair_weather_rate(
            power.mains_outages_per_year, power.storm_factor, storm_share
        ),
        mains_outage=law,
        storm_factor=power.storm_factor,
        battery_h=power.battery_h,
        recharge_h=power.recharge_h,
        solar=None if power.solar_harvest_h is None else Solar(tuple(power.solar_harvest_h)),
        generator=Generator(start_failure=power.generator_start_failure) if power.generator else None,
    )


def _crews(network: Network) -> tuple[plant.Crews, ...]:
    """The network's crews; without any, one team stands ready at the first site."""
    entries = network.crews
    if not entries:
        first = network.sites[0]
        return (plant.Crews("crew", first.latitude_deg, first.longitude_deg),)
    crews = []
    for crew in entries:
        base = network.site(crew.base)
        days = tuple(day < crew.working_days_per_week for day in range(7))
        shift = Shift(
            start_h=crew.shift_start_h,
            end_h=crew.shift_end_h,
            working_days=days,
            utc_offset_h=base.longitude_deg / 15.0,
        )
        crews.append(
            plant.Crews(crew.id, base.latitude_deg, base.longitude_deg, crew.teams, crew.speed_km_h, shift)
        )
    return tuple(crews)


def _depots(network: Network) -> tuple[plant.Depot, ...]:
    return tuple(
        plant.Depot(
            depot.id,
            network.site(depot.base).latitude_deg,
            network.site(depot.base).longitude_deg,
            dict(depot.stock),
            Law.exponential(depot.lead_time_days * 24.0),
        )
        for depot in network.depots
    )
