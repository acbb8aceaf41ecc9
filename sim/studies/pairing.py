"""Whether a plan met the very weather and failures of the network it changes, and if not, why."""

import numpy as np

from hopyears.models.equipment.plant import PlantPart
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.rare.service_figures import ServiceFigures


def lost_pairing(base: ServiceFigures, plan: ServiceFigures) -> list[str]:
    """Why draws of a plan are not those of the base, in words; empty where they are."""
    one, other = base.prepared, plan.prepared
    reasons = []
    if one.options.rain and _storms(one) != _storms(other):
        reasons.append("all storms are others: the plan changes the climate that they come from")
    elif one.options.rain and one.weather.centre_deg != other.weather.centre_deg:
        reasons.append(
            "the same storms lie a little otherwise: the plan moves the middle of the network, about which "
            "the map is drawn"
        )
    if one.options.failures:
        if moved := _moved_supplies(one, other):
            reasons.append(
                f"mains of {moved} untouched sites fail at slightly other times: they follow the mean time "
                "with storms near of all sites"
            )
        before, after = ({part.id for part in _rare(each)} for each in (base, plan))
        common = {part.id for part in one.built.plant.parts} & {part.id for part in other.built.plant.parts}
        if moved := len((before ^ after) & common):
            reasons.append(f"{moved} parts left or joined the rare ones whose failures are put in by hand")
    return reasons


def _storms(prepared: Prepared) -> object:
    """All that decides which storms are born: they come from the map of the globe, whatever the network."""
    rate_mm_h = prepared.network.climate.rain_rate_001_mm_h
    stated_at = None if rate_mm_h is None else prepared.weather.centre_deg
    return prepared.network.climate, prepared.storms, stated_at


def _moved_supplies(one: Prepared, other: Prepared) -> int:
    """Sites of both whose mains fail at another rate though their supply is the same in both files."""
    sides = []
    for prepared in (one, other):
        named = zip(prepared.network.sites, prepared.built.plant.sites, strict=True)
        sides.append({site.id: (prepared.network.power_of(site), built.power) for site, built in named})
    common = sides[0].keys() & sides[1].keys()
    return sum(sides[0][i][0] == sides[1][i][0] and sides[0][i][1] != sides[1][i][1] for i in common)


def _rare(figures: ServiceFigures) -> list[PlantPart]:
    parts = figures.prepared.built.plant.parts
    return [parts[number] for hand in figures.by_hand for number in np.flatnonzero(hand.held).tolist()]
