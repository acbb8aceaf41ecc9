"""By the standards alone: which share of the outage of its hop or site an upgrade takes away."""

from dataclasses import replace

import numpy as np

from hopyears.models.network.network import Network
from hopyears.sim.advice.candidates import HOP, SITE, Candidate
from hopyears.sim.blocks.hop_nights import nights_of
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.equipment.plant_builder import build_plant
from hopyears.sim.hops.design_doubts import refuse_designs
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.inputs.network_file import NetworkSource, with_network
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.rain.anchoring import IDENTITY
from hopyears.sim.textbook.common_parts import site_unavailability
from hopyears.sim.textbook.predict import predict_hops

FADES = ("rain_min_per_year", "multipath_min_per_year", "equipment_min_per_year")
"""What is a hop's own of the textbook sum."""


def closed_form_share(source: NetworkSource, candidate: Candidate, base: Prepared) -> float:
    """Share of the loss of a candidate's hop or site that it takes away, -1 to 1.

    Of a hop by its own parts, rain and multipath at its lowest modulation; of a site by its common parts and
    power. Weather and failures that the options leave out have no part in it.

    Parameters
    ----------
    source : NetworkSource
    candidate : Candidate
    base : Prepared
        The network made ready: closed forms need no more of its storms.

    Raises
    ------
    InputError
        If the candidate leads to a network that is none.
    """
    before = around(source.network, candidate)
    after = read_plan(_own_part(candidate, before), with_network(source, before)).network
    one, other = (_loss(network, candidate, base) for network in (before, after))
    return float(np.clip(1.0 - other / one, -1.0, 1.0)) if one > 0.0 else 0.0


def around(network: Network, candidate: Candidate) -> Network:
    """The candidate's hop, or all hops of its site, with their sites and nothing else."""
    hops = tuple(
        hop
        for hop in network.hops
        if candidate.where in ((hop.id,) if candidate.kind == HOP else (hop.site_a, hop.site_b))
    )
    ends = {site for hop in hops for site in (hop.site_a, hop.site_b)}
    kept = {"sites": tuple(site for site in network.sites if site.id in ends), "hops": hops}
    gone = dict.fromkeys(("services", "crews", "depots", "maintenance"), ())
    fields = {name: getattr(network, name) for name in type(network).model_fields}
    return Network(**{**fields, **kept, **gone, "prices": type(network.prices)()})


def _own_part(candidate: Candidate, network: Network) -> dict[str, object]:
    known = {site.id for site in network.sites}
    plan = dict(candidate.plan)
    if "sites" in plan:
        plan["sites"] = [site for site in plan["sites"] if site["id"] in known]
    return plan


def _loss(network: Network, candidate: Candidate, base: Prepared) -> float:
    """Outage of the hop or site [min a year]."""
    designs = design_hops(network)
    refuse_designs(designs, network.title)
    prepared = replace(
        base,
        network=network,
        designs=designs,
        anchors=(IDENTITY,) * len(designs),
        nights=tuple(nights_of(design) if base.options.multipath else None for design in designs),
        built=build_plant(network, designs),
    )
    if candidate.kind == SITE:
        site = [each.id for each in network.sites].index(candidate.where)
        ending = [i for i, hop in enumerate(network.hops) if candidate.where in (hop.site_a, hop.site_b)]
        return sum(site_unavailability(prepared, site, [hop]) for hop in ending)
    lowest, options = predict_hops(prepared).iloc[0], base.options
    wanted = [
        name
        for name, on in zip(FADES, (options.rain, options.multipath, options.failures), strict=True)
        if on
    ]
    return float(lowest[wanted].sum())
