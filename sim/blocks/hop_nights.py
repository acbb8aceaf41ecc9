"""From a hop's design to its multipath: the law of its nights, where they come from, the lines that fade."""

from dataclasses import replace

import numpy as np

from hopyears.models.air.receiver_lines import LineSet, line_set
from hopyears.models.radio.scheme import Line
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.hop_thresholds import line_set_index
from hopyears.sim.multipath.night_law import NightLaw, night_law
from hopyears.sim.multipath.nights import NightPlaces


def nights_of(design: HopDesign) -> NightLaw | None:
    """Law of a hop's nights of multipath, its depths as measured where they are; None without multipath."""
    if design.multipath.occurrence <= 0.0:
        return None
    law = night_law(
        occurrence_worst=design.multipath.occurrence,
        annual_reduction_db=design.multipath.annual_reduction_db,
        latitude_deg=design.climate.latitude_deg,
        longitude_deg=design.climate.longitude_deg,
        terrain=design.hop.terrain,
    )
    as_measured = replace(law.depth_map, depth_db=design.multipath.depth_db(law.depth_map.depth_db))
    return replace(law, depth_map=as_measured)


def night_places(designs: tuple[HopDesign, ...], nights: tuple[NightLaw | None, ...]) -> NightPlaces:
    """Hops with multipath; those side by side between the same two sites share their nights."""
    faded = [design for design, night in zip(designs, nights, strict=True) if night is not None]
    return NightPlaces(
        tuple("|".join(sorted((design.hop.site_a, design.hop.site_b))) for design in faded),
        tuple(design.climate.latitude_deg for design in faded),
        tuple(design.climate.longitude_deg for design in faded),
    )


def fading_lines(design: HopDesign, night: NightLaw) -> LineSet:
    """Fading lines of a hop, in the order of ``line_set_index``."""
    hop = design.hop
    step_ghz = design.channel_step_ghz
    duplex_ghz = design.duplex_ghz
    first: dict[int, Line] = {}
    for line, place in zip(design.lines, line_set_index(design), strict=True):
        first.setdefault(place, line)
    lines = [first[place] for place in sorted(first)]
    lower = hop.antenna_separation_m
    return line_set(
        tuple(f"{line.frequency_index}/{line.antenna}/{line.direction}" for line in lines),
        frequency_ghz=np.array(
            [
                hop.frequency_ghz + line.frequency_index * step_ghz + line.direction * duplex_ghz
                for line in lines
            ]
        ),
        height_a_m=np.array([-lower * (line.antenna == 1 and line.direction == 1) for line in lines]),
        height_b_m=np.array([-lower * (line.antenna == 1 and line.direction == 0) for line in lines]),
        path_length_km=design.path.length_km,
        occurrence=night.occurrence_worst,
        gathering=night.gathering,
    )
