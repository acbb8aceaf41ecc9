"""From the network file to the plant: every part that fails, with who depends on it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hopyears.models.equipment import plant
from hopyears.models.equipment.indoor_unit import SiteHardware, parts_of_site
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import PART_KINDS, PartKind
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import Network
from hopyears.sim.equipment.site_hardware import line_card_of, sites_hardware
from hopyears.sim.equipment.upkeep_builder import plant_crews, plant_depots, plant_site
from hopyears.sim.hops.hop_design import HopDesign

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
    guarded = {parts[group.chains[0][0]].site for group in groups}
    whole = plant.Plant(
        sites=tuple(
            plant_site(site, network, storm_share, site_index[site.id] in guarded) for site in network.sites
        ),
        parts=tuple(parts),
        groups=tuple(groups),
        crews=plant_crews(network),
        depots=plant_depots(network),
        kinds=part_kinds(network),
        repair=network.repair,
        lightning=network.lightning,
    )
    cards = line_card_of(network, hardware)
    return BuiltPlant(whole, dependences, {key: part_index[card] for key, card in cards.items()})


def part_kinds(network: Network) -> dict[str, PartKind]:
    """Table of part kinds with the network's changes; all times to mend have the network's spread."""
    ln_sd = network.repair.duration_ln_sd
    kinds = {
        key: replace(kind, mend=Law.lognormal(kind.mend.mean_h, ln_sd)) for key, kind in PART_KINDS.items()
    }
    for change in network.parts:
        kind = kinds[change.kind]
        mean_h = change.mtbf_h or kind.life.mean_h
        if change.weibull_shape is not None:
            life = Law.weibull(mean_h, change.weibull_shape)
        else:
            life = Law(kind.life.kind, mean_h, kind.life.spread)
        mend = kind.mend if change.swap_h is None else Law.lognormal(change.swap_h, ln_sd)
        shares = {
            field: getattr(change, field)
            for field in ("latent_share", "affecting_share", "infant_share", "infant_mean_h")
            if getattr(change, field) is not None
        }
        kinds[change.kind] = replace(kind, life=life, mend=mend, **shares)
    return kinds


def _all_parts(
    network: Network,
    designs: tuple[HopDesign, ...],
    hardware: Mapping[str, SiteHardware],
    site_index: Mapping[str, int],
) -> list[plant.PlantPart]:
    parts = [
        plant.PlantPart(part.id, part.kind, site_index[(design.hop.site_a, design.hop.site_b)[part.end]])
        for design in designs
        for part in design.parts
    ]
    for site in network.sites:
        here = site_index[site.id]
        parts += [plant.PlantPart(part.id, part.kind, here) for part in parts_of_site(hardware[site.id])]
        parts += [plant.PlantPart(f"{site.id}/{kind}", kind, here) for kind in COMMON_SITE_PARTS]
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
                        manual_switch=Law.lognormal(switching.manual_switch_h, network.repair.duration_ln_sd),
                        revertive=switching.reverts,
                        wait_to_restore_s=switching.wait_to_restore_s,
                        test=None
                        if switching.standby_test_visit
                        else Law.fixed(switching.standby_test_days * 24.0),
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
