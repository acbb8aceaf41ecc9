"""What the standards alone say of each hop and service: no clock, no random draw.

Every figure is a closed form: P.530's rain and multipath laws, the diversity improvement of P.530,
series-parallel arithmetic for the equipment. End to end they are simply added up along the working
route, as on a sheet; what this leaves out is what ``simulate`` is for.
"""

import numpy as np
import pandas as pd

from hopyears.models.air import rain_attenuation
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.models.equipment.series_parallel import equipment_unavailability
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.textbook.common_parts import (
    links_unavailability,
    part_unavailability,
    planned_share,
    site_unavailability,
)
from hopyears.sim.textbook.fading import fading_outage
from hopyears.sim.textbook.shared_load import link_minutes


def hop_equipment_unavailability(prepared: Prepared, index: int) -> float:
    """Series-parallel arithmetic over the parts of a hop; sites' common parts are not counted."""
    design = prepared.designs[index]
    radio = prepared.network.radio(design.hop.radio)
    here, there = (part_unavailability(prepared, site, radio) for site in prepared.built.hops[index].sites)
    return equipment_unavailability(design.scheme, here, other_end=there, parts=design.parts)


def predict_hops(prepared: Prepared) -> pd.DataFrame:
    """One row a hop and modulation in use; unit in each column's name.

    Columns
    -------
    hop, scheme, length_km, frequency_ghz, states, capacity_mbit_s
        ``capacity_mbit_s`` is the hop's, all working channels at this modulation.
    combining_loss_db, gas_loss_db, fixed_loss_db, received_level_dbm, threshold_dbm, margin_db
        Level in clear air at full power; threshold with the stated interference; flat margin between them.
    power_reduction_db
        What power control takes off that level in clear air.
    rain_margin_db
        Rain attenuation of the path that the hop stands, with wet antennas and cross-polar interference.
    rain_attenuation_001_db, with_wet_snow_001_db
        Exceeded 0.01 % of the year, P.530-18: by rain alone, and by rain and wet snow at the hop's height.
    rain_min_per_year, cross_polar_rain_min_per_year
        By noise and interference together; by cross-polar interference alone (P_XPR, part of the former).
    flat_worst_month, dispersive_worst_month, cross_polar_worst_month
    multipath_worst_month, multipath_min_per_year
    equipment_min_per_year, sites_min_per_year, planned_min_per_year, total_min_per_year
        ``sites_min_per_year`` are the common parts and power of both ends; ``planned_min_per_year`` is work
        that stops either. Lightning has no part in it: none of these standards says how often it strikes.
    """
    rows = []
    for index, design in enumerate(prepared.designs):
        thresholds = HopThresholds(design, prepared.anchors[index], prepared.nights[index])
        margins = thresholds.nominal_rain_margin_db()
        equipment = hop_equipment_unavailability(prepared, index)
        ends = sum(site_unavailability(prepared, site, [index]) for site in prepared.built.hops[index].sites)
        planned = planned_share(prepared, prepared.built.hops[index].sites)
        rain_001_db = float(rain_attenuation.attenuation_db(design.rain.law, 1e-4))
        with_wet_snow_001_db = float(design.rain.precipitation.attenuation_db(1e-4))
        line = design.lines[0]
        combining_db = (
            design.structure.nominal_transmit_loss_db[line.channel]
            + design.structure.nominal_receive_loss_db[line.index]
        )
        for step in range(len(design.steps)):
            fading = fading_outage(thresholds, step)
            total = fading.rain + fading.multipath + equipment + ends + planned
            rows.append(
                {
                    "hop": design.hop.id,
                    "scheme": design.hop.scheme,
                    "length_km": design.path.length_km,
                    "frequency_ghz": design.hop.frequency_ghz,
                    "states": int(design.steps.states[step]),
                    "capacity_mbit_s": design.scheme.working * float(design.steps.capacity_mbit_s[step]),
                    "combining_loss_db": combining_db,
                    "gas_loss_db": design.levels.gas_loss_db,
                    "fixed_loss_db": design.levels.fixed_loss_db,
                    "received_level_dbm": float(design.levels.received_level_dbm[0, step]),
                    "threshold_dbm": float(design.levels.threshold_dbm[step]),
                    "margin_db": float(design.levels.margin_db[0, step]),
                    "power_reduction_db": design.levels.power_reduction_db,
                    "rain_margin_db": float(margins[step]),
                    "rain_attenuation_001_db": rain_001_db,
                    "with_wet_snow_001_db": with_wet_snow_001_db,
                    "rain_min_per_year": fading.rain * MINUTES_PER_YEAR,
                    "cross_polar_rain_min_per_year": fading.crossed_rain * MINUTES_PER_YEAR,
                    "multipath_occurrence": design.multipath.occurrence,
                    "flat_worst_month": fading.flat,
                    "dispersive_worst_month": fading.dispersive,
                    "cross_polar_worst_month": fading.crossed,
                    "multipath_worst_month": fading.multipath_worst_month,
                    "multipath_min_per_year": fading.multipath * MINUTES_PER_YEAR,
                    "equipment_min_per_year": equipment * MINUTES_PER_YEAR,
                    "sites_min_per_year": ends * MINUTES_PER_YEAR,
                    "planned_min_per_year": planned * MINUTES_PER_YEAR,
                    "total_min_per_year": total * MINUTES_PER_YEAR,
                }
            )
    return pd.DataFrame(rows)


def predict_services(prepared: Prepared, hop_table: pd.DataFrame | None = None) -> pd.DataFrame:
    """Textbook sum of each service along its working route.

    Each hop counts at the lowest modulation that carries the required share of the committed rate; the hops
    of a bundle carry it together (``shared_load``). Where demand follows the hours, that of each hour counts
    for its share of the week.
    ``hop_table`` is what ``predict_hops`` gave, where it is at hand.

    Columns: service, hops, rain_min_per_year, multipath_min_per_year, equipment_min_per_year,
    sites_min_per_year (common parts and power of every site on the route), planned_min_per_year (work that
    stops one of them), total_min_per_year. A hop that cannot carry the rate at all counts as down all the
    time.
    """
    hop_table = predict_hops(prepared) if hop_table is None else hop_table
    by_hop = {hop: table for hop, table in hop_table.groupby("hop", sort=False)}
    rows: list[dict[str, object]] = []
    known: dict[tuple[tuple[int, ...], float], Floats] = {}
    for service, demand in zip(prepared.network.services, prepared.demands, strict=True):
        links = prepared.hops_along(demand.routes[0])
        sites = dict.fromkeys(site for link in links for site in prepared.built.hops[link[0]].sites)
        total, common = np.zeros(3), 0.0
        for share, of_week in demand.levels():
            required_mbit_s = share * demand.needed_mbit_s
            for link in links:
                asked = (link, required_mbit_s)
                if asked not in known:
                    of_hops = [by_hop[prepared.designs[hop].hop.id] for hop in link]
                    known[asked] = link_minutes(of_hops, required_mbit_s)
                total += of_week * known[asked]
            ends = [links_unavailability(prepared, site, links, required_mbit_s) for site in sites]
            common += of_week * sum(ends) * MINUTES_PER_YEAR
        planned = planned_share(prepared, sites) * MINUTES_PER_YEAR
        rows.append(
            {
                "service": service.id,
                "hops": len(links),
                "rain_min_per_year": total[0],
                "multipath_min_per_year": total[1],
                "equipment_min_per_year": total[2],
                "sites_min_per_year": common,
                "planned_min_per_year": planned,
                "total_min_per_year": min(float(total.sum()) + common + planned, MINUTES_PER_YEAR),
            }
        )
    return table_of("predicted_services", rows)
