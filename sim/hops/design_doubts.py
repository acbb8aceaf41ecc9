"""What is legal in a network file and yet doubtful once geometry and climate are known; once an entry."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import chain

import networkx as nx

from hopyears.models.air.rain_attenuation import specific_attenuation_db_km
from hopyears.models.air.rain_law import annual_rain_rate_mm_h
from hopyears.models.basics.faults import Doubt, Fault, grouped
from hopyears.models.equipment.indoor_unit import parts_of_site
from hopyears.models.equipment.part_kind import PART_KINDS, Place, kinds_at
from hopyears.models.network.network import Network
from hopyears.models.network.network_references import named, with_names
from hopyears.sim.hops.hop_design import HopDesign, network_climate
from hopyears.sim.hops.site_hardware import sites_hardware
from hopyears.sim.inputs.input_errors import FaultList, InputError

TESTED_OCCURRENCE = 20.0
"""Multipath occurrence, as a fraction, up to which ITU-R P.530 draws its laws (2,000 %; from memory)."""

LARGEST_OCCURRENCE = 100.0
"""Beyond this no law holds and fades overlap all the time (our own)."""

HEAVIEST_RAIN_MM_H = 300.0
"""Rain rate above which no place of the maps has its 0.001 % (P.837-7; the most that a climate may state)."""

LARGEST_SCALE = 2.5
"""A measured 0.01 % rain rate this many times that of the place's months, or less by as much, is doubtful."""


def network_doubts(network: Network, designs: Sequence[HopDesign], name: str) -> list[Doubt]:
    """Doubts about the climate, the hops and the indoor units of a network, one for each entry.

    Parameters
    ----------
    network : Network
    designs : sequence of HopDesign
        Of its hops.
    name : str
        Of its file, for messages.

    Raises
    ------
    InputError
        As ``refuse_designs``; also if a hop carries nothing even in clear air.
    """
    refuse_designs(designs, name)
    _refuse_dead(designs, name)
    outgrown = (doubt for plan in sites_hardware(network).values() for doubt in plan.warnings)
    return list(grouped(with_names(chain(design_doubts(network, designs), outgrown), network)))


def refuse_designs(designs: Sequence[HopDesign], name: str) -> None:
    """Stop at hops that no law describes; ``name`` is that of the network in messages.

    Raises
    ------
    InputError
        If the multipath occurrence of a hop is above 10,000 %.
    """
    faults = [
        Fault(
            named("hop", design.hop.id),
            "multipath occurrence",
            f"{100.0 * design.multipath.occurrence:.0f} %",
            f"at most {100.0 * LARGEST_OCCURRENCE:.0f} %",
            "Check path length, antenna heights, geoclimatic_factor and refractivity_gradient",
        )
        for design in designs
        if design.multipath.occurrence > LARGEST_OCCURRENCE
    ]
    if faults:
        raise InputError.of([f"{name}: {fault.sentence()}" for fault in faults])


def _refuse_dead(designs: Sequence[HopDesign], name: str) -> None:
    """Stop at hops that carry nothing even in clear air: what their services lose is no congestion."""
    faults = FaultList()
    for design in designs:
        best_db = float(design.levels.margin_db[0].max())
        if best_db <= 0.0:
            allowed = "above 0 dB at the lowest modulation"
            hint = "Check power, antennas, losses, thresholds and length"
            entry = named("hop", design.hop.id)
            faults.add(name, Fault(entry, "margin in clear air", f"{best_db:.1f} dB", allowed, hint))
    faults.stop_if_any()


def design_doubts(network: Network, designs: Sequence[HopDesign]) -> Iterator[Doubt]:
    """Doubts about the climate of the network, then about parts that it lacks, then about each hop."""
    yield from _climate_doubts(network)
    yield from _idle_parts(network, designs)
    yield from demands_above_capacity(network, designs)
    for design in designs:
        entry = named("hop", design.hop.id)
        yield from _rain_beyond_physics(design)
        if design.multipath.occurrence > TESTED_OCCURRENCE:
            yield Doubt(
                entry,
                f"multipath occurrence is {100.0 * design.multipath.occurrence:.0f} %; the laws of P.530 "
                f"are drawn up to {100.0 * TESTED_OCCURRENCE:.0f} %, and blocks take long beyond",
            )


def _rain_beyond_physics(design: HopDesign) -> Iterator[Doubt]:
    """Measured rain attenuation that the heaviest rain over the whole path would not give."""
    measured = design.hop.rain_exceedance_db or {}
    per_km = float(specific_attenuation_db_km(HEAVIEST_RAIN_MM_H, k=design.rain.k, alpha=design.rain.alpha))
    most_db = per_km * design.path.length_km
    above = {percent: fade for percent, fade in measured.items() if fade > most_db}
    if above:
        percent, fade = max(above.items(), key=lambda each: each[1])
        law = f"{HEAVIEST_RAIN_MM_H:g} mm/h over the whole path would give less"
        text = f"rain_exceedance_db is {fade:g} at {percent} %, where it would give {most_db:.3g}"
        yield Doubt(named("hop", design.hop.id), text, law)


def _idle_parts(network: Network, designs: Sequence[HopDesign]) -> Iterator[Doubt]:
    """Changes of kinds of part, and stocks of spares, that this network has none of."""
    built = {part.kind for design in designs for part in design.parts}
    built |= {part.kind for plan in sites_hardware(network).values() for part in parts_of_site(plan)}
    built |= {kind.key for kind in kinds_at(Place.SITE)}
    if any(network.power_of(site).rectifiers for site in network.sites):
        built |= {kind.key for kind in kinds_at(Place.SUPPLY)}
    for change in network.parts:
        if change.kind not in built:
            text = "the network has no such part, so the entry changes nothing"
            yield Doubt(named("part", change.kind), text)
    taken = {spare for kind in built if (spare := PART_KINDS[kind].spare)}
    yield from _spare_doubts(network, taken)
    for depot in network.depots:
        idle = [kind for kind in depot.stock if kind.partition("/")[0] not in taken]
        if idle:
            text = f"no part of the network takes a spare of {', '.join(idle)}, so that stock changes nothing"
            yield Doubt(named("depot", depot.id), text)


def _spare_doubts(network: Network, taken: set[str]) -> Iterator[Doubt]:
    """Spares that no depot lists though there are depots, and one stock of radios for several types."""
    listed = {kind for depot in network.depots for kind in depot.stock}
    lacking = sorted(taken - {kind.partition("/")[0] for kind in listed})
    if network.depots and lacking:
        days = min(depot.lead_time_days for depot in network.depots)
        text = (
            f"no depot lists spares of {', '.join(lacking)}: a failed one waits for an order, {days:g} days"
        )
        yield Doubt("", f"{text} in the mean")
    bands = sorted({hop.frequency_ghz for hop in network.hops})
    if "outdoor_radio" in listed and bands[-1] > 1.5 * bands[0]:
        text = f"spares of outdoor_radio fit all hops, of {bands[0]:g} to {bands[-1]:g} GHz"
        yield Doubt(
            "", f"{text}; list them by type, as outdoor_radio/{network.hops[0].radio}, where they do not"
        )


def _climate_doubts(network: Network) -> Iterator[Doubt]:
    law = network_climate(network).rain_law
    rate, own = network.climate.rain_rate_001_mm_h, float(annual_rain_rate_mm_h(law, 1e-4))
    if rate is not None and own > 0.0 and not 1.0 / LARGEST_SCALE <= rate / own <= LARGEST_SCALE:
        yield Doubt(
            "climate",
            f"rain_rate_001_mm_h is {rate:g}, where the place's monthly rainfall suggests {own:.3g} "
            f"({own / LARGEST_SCALE:.3g} to {LARGEST_SCALE * own:.3g} go unremarked)",
        )


def demands_above_capacity(network: Network, designs: Sequence[HopDesign]) -> Iterator[Doubt]:
    """Services whose committed rate is above the narrowest link of the widest way between their ends.

    Hops of one bundle carry together. The widest ways from everywhere run along one spanning tree (Hu, The
    maximum capacity route problem, Operations Research 9, 1961).
    """
    together: Counter[tuple[str, str, str]] = Counter()
    for design in designs:
        hop = design.hop
        first, second = sorted((hop.site_a, hop.site_b))
        together[first, second, hop.bundle or f"hop {hop.id}"] += design.clear_capacity_mbit_s  # type: ignore[assignment]
    widest: nx.Graph[str] = nx.Graph()
    for (first, second, _), capacity in together.items():
        known = widest.edges[first, second]["capacity"] if widest.has_edge(first, second) else 0.0
        widest.add_edge(first, second, capacity=max(capacity, known))
    tree = nx.maximum_spanning_tree(widest, weight="capacity")
    least_from: dict[str, dict[str, float]] = {}
    for service in network.services:
        if service.site_a not in least_from:
            least_from[service.site_a] = _narrowest(tree, service.site_a)
        most = least_from[service.site_a].get(service.site_b, 0.0)
        committed = max(service.committed_ways_mbit_s)
        if committed > most:
            law = "the committed rate is above what any way between the ends carries in clear air"
            text = f"committed_mbit_s is {committed:g}, where the widest way carries {most:.4g}"
            yield Doubt(named("service", service.id), text, law)


def _narrowest(tree: "nx.Graph[str]", start: str) -> dict[str, float]:
    """Least capacity on the way from a site to every other of a tree [Mbit/s]."""
    found = {start: float("inf")}
    for here, there in nx.bfs_edges(tree, start):
        found[there] = min(found[here], tree.edges[here, there]["capacity"])
    return found
