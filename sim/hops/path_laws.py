"""What the air between a hop's ends does: its geometry, its rain and its multipath, as published laws."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air import multipath, rain_attenuation
from hopyears.models.air.precipitation import PrecipitationLaw, precipitation_law
from hopyears.models.air.rain_attenuation import RainAttenuationLaw
from hopyears.models.basics import geometry
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.percentiles import measured_points
from hopyears.models.network.network import Hop, Site
from hopyears.sim.climate import Climate


@dataclass(frozen=True)
class PathGeometry:
    """Where a hop runs.

    Attributes
    ----------
    x_km, y_km : tuple of two float
        Both ends on the network's plane, east and north of its centre [km].
    length_km, inclination_mrad, elevation_deg : float
    height_a_m, height_b_m : float
        Main antennas above sea level [m].
    mean_terrain_m : float
        Of the path, above sea level [m].
    """

    x_km: tuple[float, float]
    y_km: tuple[float, float]
    length_km: float
    inclination_mrad: float
    elevation_deg: float
    height_a_m: float
    height_b_m: float
    mean_terrain_m: float


@dataclass(frozen=True)
class PathRain:
    """What rain does on a hop.

    Attributes
    ----------
    k, alpha : float
        Power law of rain attenuation at the reference (first) channel, P.838-3.
    law : RainAttenuationLaw
        Published law of the reference channel's rain attenuation, P.530-18.
    precipitation : PrecipitationLaw
        The same with wet snow, where the hop's height lets it meet any.
    """

    k: float
    alpha: float
    law: RainAttenuationLaw
    precipitation: PrecipitationLaw


@dataclass(frozen=True)
class PathMultipath:
    """How often a hop fades by multipath.

    Attributes
    ----------
    occurrence : float
        Multipath occurrence p0 of the worst month; a fraction that may exceed 1; 0 on short hops.
    annual_reduction_db : float
        From the worst month to the year, P.530-18.
    standard_db, measured_db : tuple of float
        Depths that P.530 gives for this p0, and those that the user measured, at the same shares of the worst
        month, rising; empty where nothing was measured. The deepest agree, since they set p0.
    """

    occurrence: float
    annual_reduction_db: float
    standard_db: tuple[float, ...] = ()
    measured_db: tuple[float, ...] = ()

    def depth_db(self, standard_db: ArrayLike) -> Floats:
        """The hop's depth for one of P.530's law [dB]: measured, linear between points, the same beyond."""
        return _mapped(standard_db, self.standard_db, self.measured_db)

    def depth_of_law_db(self, depth_db: ArrayLike) -> Floats:
        """The depth of P.530's law for one of the hop's [dB]; the inverse of ``depth_db``."""
        return _mapped(depth_db, self.measured_db, self.standard_db)


def path_geometry(
    hop: Hop, site_a: Site, site_b: Site, place_a: tuple[float, float], place_b: tuple[float, float]
) -> PathGeometry:
    """Geometry of a hop between two sites, whose places are on the network's plane [km]."""
    length_km = float(
        geometry.path_length_km(
            site_a.latitude_deg, site_a.longitude_deg, site_b.latitude_deg, site_b.longitude_deg
        )
    )
    height_a_m = site_a.ground_height_m + (hop.antenna_height_a_m or site_a.antenna_height_m)
    height_b_m = site_b.ground_height_m + (hop.antenna_height_b_m or site_b.antenna_height_m)
    return PathGeometry(
        x_km=(place_a[0], place_b[0]),
        y_km=(place_a[1], place_b[1]),
        length_km=length_km,
        inclination_mrad=float(geometry.path_inclination_mrad(height_a_m, height_b_m, length_km)),
        elevation_deg=float(geometry.path_elevation_deg(height_a_m, height_b_m, length_km)),
        height_a_m=height_a_m,
        height_b_m=height_b_m,
        mean_terrain_m=(site_a.ground_height_m + site_b.ground_height_m) / 2
        if hop.mean_terrain_m is None
        else hop.mean_terrain_m,
    )


def path_rain(hop: Hop, path: PathGeometry, climate: Climate, *, wet_snow: bool) -> PathRain:
    """Laws of a hop's rain, with wet snow or without."""
    tilt = rain_attenuation.TILT_DEG[hop.polarisation]
    k, alpha = rain_attenuation.coefficients(
        hop.frequency_ghz, polarisation_tilt_deg=tilt, elevation_deg=path.elevation_deg
    )
    law = rain_attenuation.attenuation_law(
        path.length_km,
        climate.rain_rate_001_mm_h,
        frequency_ghz=hop.frequency_ghz,
        polarisation_tilt_deg=tilt,
        elevation_deg=path.elevation_deg,
    )
    precipitation = precipitation_law(
        law,
        min(path.height_a_m, path.height_b_m),
        max(path.height_a_m, path.height_b_m),
        mean_rain_height_m=climate.rain_height_m if wet_snow else None,
    )
    return PathRain(float(k), float(alpha), law, precipitation)


def path_multipath(hop: Hop, path: PathGeometry, climate: Climate, *, edition: int) -> PathMultipath:
    """Laws of a hop's multipath: P.530's of this edition, its p0 from the maps or what the user knows."""
    reduction_db = float(
        multipath.annual_reduction_db(climate.latitude_deg, path.length_km, path.inclination_mrad)
    )
    measured = measured_points(hop.multipath_exceedance_db)
    if measured is None:
        return PathMultipath(_occurrence(hop, path, climate, edition), reduction_db)
    fraction, depth_db = measured
    occurrence = float(multipath.occurrence_of(depth_db[0], fraction[0]))
    standard_db = multipath.depth_exceeded_db(occurrence, fraction[::-1])
    return PathMultipath(
        occurrence, reduction_db, tuple(standard_db.tolist()), tuple(depth_db[::-1].tolist())
    )


def _occurrence(hop: Hop, path: PathGeometry, climate: Climate, edition: int) -> float:
    if path.length_km <= multipath.SHORTEST_PATH_KM:
        return 0.0
    if edition == 18:
        assert hop.geoclimatic_factor is not None  # the rules of a network ask for both
        assert hop.refractivity_75 is not None
        return float(
            multipath.worst_month_occurrence_ed18(
                hop.geoclimatic_factor,
                path_length_km=path.length_km,
                frequency_ghz=hop.frequency_ghz,
                first_antenna_m=path.height_a_m,
                second_antenna_m=path.height_b_m,
                mean_terrain_m=path.mean_terrain_m,
                refractivity_75=hop.refractivity_75,
            )
        )
    factor = (
        hop.geoclimatic_factor
        if hop.geoclimatic_factor is not None
        else multipath.geoclimatic_factor_detailed(climate.dn1_n_km, climate.terrain_roughness_m)
    )
    return float(
        multipath.worst_month_occurrence(
            factor,
            path_length_km=path.length_km,
            inclination_mrad=path.inclination_mrad,
            frequency_ghz=hop.frequency_ghz,
            lower_antenna_m=min(path.height_a_m, path.height_b_m),
        )
    )


def _mapped(depth_db: ArrayLike, points: tuple[float, ...], values: tuple[float, ...]) -> Floats:
    depth = np.asarray(depth_db, dtype=np.float64)
    if not points:
        return depth
    inside = np.interp(depth, (0.0, *points), (0.0, *values))
    return np.where(depth > points[-1], depth, inside)
