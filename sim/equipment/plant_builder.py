"""From the network file to the plant: every part that fails, with who depends on it."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

from hopyears.models.equipment import plant
from hopyears.models.equipment.indoor_unit import SiteHardware, parts_of_site
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import PART_KINDS, PartKind, Place, kinds_at
from hopyears.models.network.network import Hop, Network, Radio
from hopyears.sim.equipment.dependence import HopDependence, hop_dependences
from hopyears.sim.equipment.upkeep_builder import plant_crews, plant_depots, plant_site
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.site_hardware import line_card_of, sites_hardware


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
    """Plant of a network: hop parts, indoor units, site parts, power, crews, depots, protection groups.

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
    depend = hop_dependences(designs, hardware, part_index, site_index, network)
    for index in depend.plainly_seen:
        parts[index] = replace(parts[index], plainly_seen=True)
    guarded = {parts[group.chains[0][0]].site for group in depend.groups}
    whole = plant.Plant(
        sites=tuple(
            plant_site(site, network, storm_share, site_index[site.id] in guarded) for site in network.sites
        ),
        parts=tuple(parts),
        groups=depend.groups,
        switches=depend.switches,
        crews=plant_crews(network),
        depots=plant_depots(network),
        kinds=part_kinds(network),
        repair=network.repair,
        lightning=network.lightning,
    )
    cards = line_card_of(network, hardware)
    return BuiltPlant(whole, depend.hops, {key: part_index[card] for key, card in cards.items()})


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


def fitting_spares(kind: str, hop: Hop) -> tuple[str, ...]:
    """Kinds of spare that fit a part of a hop, the most specific first; empty where its kind has but one."""
    if kind != "outdoor_radio":
        return ()
    by_type = f"{kind}/{hop.radio}"
    return (*(() if hop.sub_band is None else (f"{by_type}/{hop.sub_band}",)), by_type, kind)


def _all_parts(
    network: Network,
    designs: tuple[HopDesign, ...],
    hardware: Mapping[str, SiteHardware],
    site_index: Mapping[str, int],
) -> list[plant.PlantPart]:
    """Every part once: those of the hops, then of each site's indoor units, the site itself, its supply."""
    parts = [
        plant.PlantPart(
            part.id,
            part.kind,
            site_index[(design.hop.site_a, design.hop.site_b)[part.end]],
            fitting=fitting_spares(part.kind, design.hop),
            failure_factor=over_kind(network, part.kind, network.radio(design.hop.radio)),
            beside=f"{design.hop.id}/{(design.hop.site_a, design.hop.site_b)[part.end]}",
        )
        for design in designs
        for part in design.parts
    ]
    for site in network.sites:
        here, power = site_index[site.id], network.power_of(site)
        common = parts_of_site(hardware[site.id])
        members = Counter(part.group for part in common)
        parts += [
            plant.PlantPart(
                part.id,
                part.kind,
                here,
                group=part.group,
                spares=members[part.group] - 1,
                beside=f"{site.id}/unit-{part.unit + 1}",
            )
            for part in common
        ]
        parts += [plant.PlantPart(f"{site.id}/{kind.key}", kind.key, here) for kind in kinds_at(Place.SITE)]
        parts += [
            plant.PlantPart(
                f"{site.id}/{kind.key}-{number}",
                kind.key,
                here,
                group=f"{site.id}/{kind.key}",
                spares=power.rectifiers - power.rectifiers_needed,
            )
            for kind in kinds_at(Place.SUPPLY)
            for number in range(1, power.rectifiers + 1)
        ]
    parts = [
        replace(part, failure_factor=part.failure_factor * network.sites[part.site].failure_factor)
        for part in parts
    ]
    # A card that serves several hops is listed by each of them.
    return list({part.id: part for part in reversed(parts)}.values())[::-1]


def over_kind(network: Network, kind: str, radio: Radio) -> float:
    """Failures of a part of a hop with a type of radio, over those of its kind; the site left out."""
    if kind != "outdoor_radio" or radio.mtbf_h is None:
        return 1.0
    return part_kinds(network)[kind].life.mean_h / radio.mtbf_h
