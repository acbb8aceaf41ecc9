"""What the standards alone say of each hop and service: no clock, no random draw.

Every figure is a closed form: P.530's rain and multipath laws, the diversity improvement of P.530,
series-parallel arithmetic for the equipment. End to end they are simply added up along the working
route, as on a sheet; what this leaves out is what ``simulate`` is for.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models import cross_polar, diversity, multipath, rain_attenuation
from models.hardware import Mounting
from models.markov import dark_h_per_year
from models.network import Network
from models.part_kind import DISPATCH, PartKind
from models.plant import great_circle_km
from models.scheme import Diversity
from models.series_parallel import equipment_unavailability
from models.units import HOURS_PER_YEAR
from sim.blocks.prepared import Prepared, measured_rain, rain_target_db
from sim.equipment.plant_builder import COMMON_SITE_PARTS
from sim.hops.hop_design import HopDesign
from sim.hops.hop_thresholds import HopThresholds

MINUTES_PER_YEAR = HOURS_PER_YEAR * 60.0


@dataclass(frozen=True)
class FadingOutage:
    """Outage of a hop at one modulation, as fractions of the time.

    Attributes
    ----------
    rain : float
        Of the year; noise and, on co-channel carriers, cross-polar interference.
    flat, dispersive, crossed : float
        Multipath of the worst month without diversity: P_ns, P_s and P_XP of P.530.
    multipath_worst_month : float
        Their sum without diversity; P_d of P.530 with it.
    flat_year : float
        Flat multipath of the average year without diversity.
    to_year : float
        From the worst month to the average year, of all else.
    multipath : float
        Of the average year, with diversity.
    improvement : float
        Of flat fading by the scheme's diversity, at least 1; infinite where there is no multipath.
    """

    rain: float
    flat: float
    dispersive: float
    crossed: float
    multipath_worst_month: float
    flat_year: float
    to_year: float
    multipath: float
    improvement: float


def fading_outage(thresholds: HopThresholds, step: int) -> FadingOutage:
    """What P.530 says of a hop at modulation ``step`` (0 is the lowest).

    References
    ----------
    ITU-R P.530-18 (2021): rain 2.4.1, with wet snow 2.4.2; multipath 2.3.2 (all depths), 2.3.4 (year), 5.1
    (signatures), 4.1 (cross-polar), 6.2 (diversity; never worse than without it: our own). Where the user
    gives measured rain percentiles, these go before 2.4.1.
    """
    design = thresholds.design
    rain = rain_exceedance(design, float(thresholds.nominal_rain_margin_db()[step]))
    flat, dispersive, crossed = _multipath_parts(design, step)
    to_year = float(10.0 ** (-design.annual_reduction_db / 10.0))
    flat_year = float(multipath.exceedance(design.occurrence * to_year, _flat_depth_db(design, step)))
    improvement = 1.0 if design.occurrence > 0.0 else np.inf
    worst, annual = flat + dispersive + crossed, flat_year + (dispersive + crossed) * to_year
    if design.scheme.diversity is not Diversity.NONE and design.occurrence > 0.0:
        constant = _diversity_constant(design)
        improvement = max(float(diversity.improvement(constant, _flat_depth_db(design, step))), 1.0)
        worst = min(_with_diversity(design, constant, flat / improvement, dispersive), flat + dispersive)
        worst += crossed
        annual = worst * to_year
    return FadingOutage(
        rain, flat, dispersive, crossed, min(worst, 1.0), flat_year, to_year, min(annual, 1.0), improvement
    )


def rain_exceedance(design: HopDesign, margin_db: float) -> float:
    """Fraction of the year with more attenuation by rain and wet snow than a margin [dB].

    The user's measurements go first.
    """
    if measured_rain(design.hop) is None or margin_db <= 0.0:
        return float(design.precipitation.exceedance(margin_db))
    log_p = np.linspace(np.log(1e-9), 0.0, 4000)
    attenuation_db = rain_target_db(design, np.exp(log_p))
    return float(np.exp(np.interp(-margin_db, -attenuation_db, log_p)))


def _flat_depth_db(design: HopDesign, step: int) -> float:
    return max(float(design.margin_db[0, step]), 0.0)


def _multipath_parts(design: HopDesign, step: int) -> tuple[float, float, float]:
    p0 = design.occurrence
    if p0 <= 0.0:
        return 0.0, 0.0, 0.0
    flat = float(multipath.exceedance(p0, _flat_depth_db(design, step)))
    dispersive = float(
        diversity.signature_outage(
            p0,
            width_ghz=design.steps.signature_width_ghz[step],
            depth_db=design.steps.signature_depth_db[step],
            path_length_km=design.length_km,
            reference_delay_ns=design.radio.signature_delay_ns,
        )
    )
    if not design.scheme.co_channel:
        return flat, dispersive, 0.0
    margin_db = cross_polar.clear_air_margin_db(
        p0,
        antenna_discrimination_db=design.antenna_discrimination_db,
        required_c_i_db=design.steps.required_snr_db[step],
        canceller_db=design.radio.canceller_improvement_db,
    )
    return flat, dispersive, float(cross_polar.clear_air_outage(p0, margin_db))


def _diversity_constant(design: HopDesign) -> float:
    """I0 of the scheme's diversity: its improvement is I0 10^(A/10)."""
    hop, p0 = design.hop, design.occurrence
    space = diversity.space_constant(
        hop.antenna_separation_m,
        frequency_ghz=hop.frequency_ghz,
        path_length_km=design.length_km,
        occurrence=p0,
    )
    frequency = diversity.frequency_constant(
        design.channel_step_ghz, frequency_ghz=hop.frequency_ghz, path_length_km=design.length_km
    )
    return float(
        {
            Diversity.SPACE: space,
            Diversity.FREQUENCY: frequency,
            Diversity.BOTH: diversity.combined_constant(space, frequency, p0),
        }[design.scheme.diversity]
    )


def _with_diversity(design: HopDesign, constant: float, flat: float, dispersive: float) -> float:
    """P_d of the worst month from the flat outage with diversity and the dispersive one without."""
    ns2 = diversity.correlation_ns2(constant, design.occurrence)
    protected = diversity.dispersive_outage_with_diversity(dispersive, ns2, design.occurrence)
    return float(diversity.combined_outage(flat, protected))


def part_unavailability(prepared: Prepared, site_index: int) -> dict[str, float]:
    """Textbook unavailability of each kind of part at a site: mean time to restore over that and MTBF.

    Restoring takes dispatch, travel from the nearest crew and the swap; nobody queues, no spare lacks, no
    storm delays a climb.
    """
    plant = prepared.built.plant
    place = plant.sites[site_index]
    travel_h = min(great_circle_km(base, place) * plant.road_factor / base.speed_km_h for base in plant.crews)
    return {key: _unavailability(kind, travel_h) for key, kind in plant.kinds.items()}


def _unavailability(kind: PartKind, travel_h: float) -> float:
    remote = kind.repair.name == "REMOTE"
    restore_h = DISPATCH.mean_h + (0.0 if remote else travel_h) + kind.mend.mean_h
    return kind.affecting_share * restore_h / (kind.life.mean_h + restore_h)


def power_unavailability(prepared: Prepared, site_index: int) -> float:
    """Share of time that a site's supply is spent, at the stated mean rate of mains outages."""
    supply = prepared.built.plant.sites[site_index].power
    if supply is None:
        return 0.0
    stated = prepared.network.power_of(prepared.network.sites[site_index])
    supply = replace(supply, mains_outages_per_year=stated.mains_outages_per_year)
    return dark_h_per_year(supply) / HOURS_PER_YEAR


def site_unavailability(prepared: Prepared, site_index: int) -> float:
    """Common parts and power of a site, added up."""
    network: Network = prepared.network
    by_kind = part_unavailability(prepared, site_index)
    site = network.sites[site_index]
    controller = by_kind["controller"] ** 2 if site.duplicated_controller else by_kind["controller"]
    unit = controller + by_kind["chassis"] + by_kind["fan"]
    common = sum(by_kind[kind] for kind in COMMON_SITE_PARTS)
    return unit + common + power_unavailability(prepared, site_index)


def hop_equipment_unavailability(prepared: Prepared, index: int) -> float:
    """Series-parallel arithmetic over the parts of a hop; sites' common parts are not counted."""
    design = prepared.designs[index]
    here, there = (part_unavailability(prepared, site) for site in prepared.built.hops[index].sites)
    mounting = Mounting(design.radio.mounting)
    return equipment_unavailability(design.scheme, here, mounting=mounting, other_end=there)


def predict_hops(prepared: Prepared) -> pd.DataFrame:
    """One row a hop and modulation in use; unit in each column's name.

    Columns
    -------
    hop, scheme, length_km, frequency_ghz, states, capacity_mbit_s
        ``capacity_mbit_s`` is the hop's, all working channels at this modulation.
    combining_loss_db, received_level_dbm, threshold_dbm, margin_db, rain_margin_db
        Flat margin against noise; margin against rain with cross-polar interference.
    rain_attenuation_001_db, with_wet_snow_001_db
        Exceeded 0.01 % of the year, P.530-18: by rain alone, and by rain and wet snow at the hop's height.
    rain_min_per_year, flat_worst_month, dispersive_worst_month, cross_polar_worst_month
    multipath_worst_month, multipath_min_per_year
    equipment_min_per_year, sites_min_per_year, total_min_per_year
        ``sites_min_per_year`` are the common parts and power of both ends.
    """
    rows = []
    for index, design in enumerate(prepared.designs):
        thresholds = HopThresholds(design, prepared.anchors[index], prepared.nights[index])
        margins = thresholds.nominal_rain_margin_db()
        equipment = hop_equipment_unavailability(prepared, index)
        ends = sum(site_unavailability(prepared, site) for site in prepared.built.hops[index].sites)
        line = design.lines[0]
        combining_db = (
            design.structure.nominal_transmit_loss_db[line.channel]
            + design.structure.nominal_receive_loss_db[line.index]
        )
        for step in range(len(design.steps)):
            fading = fading_outage(thresholds, step)
            total = fading.rain + fading.multipath + equipment + ends
            rows.append(
                {
                    "hop": design.hop.id,
                    "scheme": design.hop.scheme,
                    "length_km": design.length_km,
                    "frequency_ghz": design.hop.frequency_ghz,
                    "states": int(design.steps.states[step]),
                    "capacity_mbit_s": design.scheme.working * float(design.steps.capacity_mbit_s[step]),
                    "combining_loss_db": combining_db,
                    "gas_loss_db": design.gas_loss_db,
                    "received_level_dbm": float(design.received_level_dbm[0, step]),
                    "threshold_dbm": float(design.steps.threshold_dbm[step]),
                    "margin_db": float(design.margin_db[0, step]),
                    "rain_margin_db": float(margins[step]),
                    "rain_attenuation_001_db": float(rain_attenuation.attenuation_db(design.rain_law, 1e-4)),
                    "with_wet_snow_001_db": float(design.precipitation.attenuation_db(1e-4)),
                    "rain_min_per_year": fading.rain * MINUTES_PER_YEAR,
                    "multipath_occurrence": design.occurrence,
                    "flat_worst_month": fading.flat,
                    "dispersive_worst_month": fading.dispersive,
                    "cross_polar_worst_month": fading.crossed,
                    "multipath_worst_month": fading.multipath_worst_month,
                    "multipath_min_per_year": fading.multipath * MINUTES_PER_YEAR,
                    "equipment_min_per_year": equipment * MINUTES_PER_YEAR,
                    "sites_min_per_year": ends * MINUTES_PER_YEAR,
                    "total_min_per_year": total * MINUTES_PER_YEAR,
                }
            )
    return pd.DataFrame(rows)


def predict_services(prepared: Prepared, hop_table: pd.DataFrame | None = None) -> pd.DataFrame:
    """Textbook sum of each service along its working route.

    Each hop counts at the lowest modulation that carries the committed rate. ``hop_table`` is what
    ``predict_hops`` gave, where it is at hand.

    Columns: service, hops, rain_min_per_year, multipath_min_per_year, equipment_min_per_year,
    sites_min_per_year (common parts and power of every site on the route), total_min_per_year. A hop
    that cannot carry the rate at all counts as down all the time.
    """
    hop_table = predict_hops(prepared) if hop_table is None else hop_table
    by_hop = {hop: table for hop, table in hop_table.groupby("hop", sort=False)}
    site_of = [dependence.sites for dependence in prepared.built.hops]
    rows = []
    for service, demand in zip(prepared.network.services, prepared.demands, strict=True):
        crossed = [link for link, _ in demand.routes[0] if link < len(prepared.designs)]
        total = np.zeros(3)
        for link in crossed:
            total += _carrying(by_hop[prepared.designs[link].hop.id], service.committed_mbit_s)
        sites = sorted({site for link in crossed for site in site_of[link]})
        common = sum(site_unavailability(prepared, site) for site in sites) * MINUTES_PER_YEAR
        rows.append(
            {
                "service": service.id,
                "hops": len(crossed),
                "rain_min_per_year": total[0],
                "multipath_min_per_year": total[1],
                "equipment_min_per_year": total[2],
                "sites_min_per_year": common,
                "total_min_per_year": min(float(total.sum()) + common, MINUTES_PER_YEAR),
            }
        )
    columns = ["service", "hops", "rain_min_per_year", "multipath_min_per_year", "equipment_min_per_year"]
    return pd.DataFrame(rows, columns=[*columns, "sites_min_per_year", "total_min_per_year"])


def _carrying(steps: pd.DataFrame, rate_mbit_s: float) -> NDArray[np.float64]:
    """Rain, multipath and equipment minutes of a hop at the lowest modulation that carries a rate."""
    able = steps[steps["capacity_mbit_s"] >= rate_mbit_s]
    if able.empty:
        return np.array([MINUTES_PER_YEAR, 0.0, 0.0])
    columns = ["rain_min_per_year", "multipath_min_per_year", "equipment_min_per_year"]
    return able.iloc[0][columns].to_numpy(dtype=np.float64)
