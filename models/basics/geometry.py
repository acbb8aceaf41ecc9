"""Where things are: path length and bearing on the ellipsoid, the network's local plane, path slope."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from pyproj import CRS, Geod, Transformer

from hopyears.models.basics.arrays import Floats

_GEOD = Geod(ellps="WGS84")
_METRES_PER_KM = 1000.0


class Centre(NamedTuple):
    """Origin of a local plane [degrees]: latitude -90..90, longitude -180..180."""

    latitude_deg: float
    longitude_deg: float


def path_length_km(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, to_latitude_deg: ArrayLike, to_longitude_deg: ArrayLike
) -> Floats:
    """Length of the shortest line on the WGS 84 ellipsoid between two ends [km]; shapes broadcast.

    Antenna heights are left out: on a path of 10 km a height difference of 300 m adds 0.05 %.

    References
    ----------
    C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013), through pyproj.
    """
    return _inverse(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg)[1] / _METRES_PER_KM


def bearing_deg(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, to_latitude_deg: ArrayLike, to_longitude_deg: ArrayLike
) -> Floats:
    """Direction of the second end seen from the first [degrees from north, clockwise, 0..360)."""
    return _inverse(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg)[0] % 360.0


def network_centre(latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Centre:
    """Middle of a set of places: the direction of the mean of their unit vectors.

    Parameters
    ----------
    latitude_deg, longitude_deg : array, shape (n,)
        Places [degrees]; a network across the 180th meridian is in order.

    Raises
    ------
    ValueError
        If there is no place.
    """
    latitude, longitude = np.radians(np.atleast_1d(latitude_deg)), np.radians(np.atleast_1d(longitude_deg))
    if latitude.size == 0:
        raise ValueError("places is an empty list; must be at least one place")
    x = np.mean(np.cos(latitude) * np.cos(longitude))
    y = np.mean(np.cos(latitude) * np.sin(longitude))
    z = np.mean(np.sin(latitude))
    return Centre(float(np.degrees(np.arctan2(z, np.hypot(x, y)))), float(np.degrees(np.arctan2(y, x))))


def local_plane_km(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, *, centre: tuple[float, float]
) -> tuple[Floats, Floats]:
    """East and north of places on a plane that touches the earth at ``centre`` [km].

    Azimuthal equidistant: distance and bearing from the centre are exact, and lengths at a distance r from
    it are stretched by at most r^2/(6 * 6371^2): 0.04 % at 300 km.

    Parameters
    ----------
    latitude_deg, longitude_deg : float or array, same shape
        Places [degrees].
    centre : (float, float)
        Latitude and longitude of the origin [degrees], for instance from ``network_centre``.

    Returns
    -------
    (east_km, north_km)
        Each of the shape of the input.
    """
    east_m, north_m = _plane(centre, inverse=False).transform(_array(longitude_deg), _array(latitude_deg))
    return _array(east_m) / _METRES_PER_KM, _array(north_m) / _METRES_PER_KM


def path_inclination_mrad(height_m: ArrayLike, to_height_m: ArrayLike, path_length_km: ArrayLike) -> Floats:
    """Magnitude of the path inclination |h2 - h1|/d [mrad], antenna heights above sea level [m].

    References
    ----------
    ITU-R P.530-17 (2017), section 2.3.1, equation for epsilon_p.
    """
    return np.abs(_array(to_height_m) - _array(height_m)) / _array(path_length_km)


def path_elevation_deg(height_m: ArrayLike, to_height_m: ArrayLike, path_length_km: ArrayLike) -> Floats:
    """Elevation of the path seen from the first end [degrees], positive upwards.

    The straight chord between two heights above sea level; the bulge of the earth (below 0.2 degrees at
    50 km) is left out, since the elevation is used for P.838's cos^2 only.
    """
    rise_km = (_array(to_height_m) - _array(height_m)) / _METRES_PER_KM
    return np.degrees(np.arctan2(rise_km, _array(path_length_km)))


def _inverse(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, to_latitude_deg: ArrayLike, to_longitude_deg: ArrayLike
) -> tuple[Floats, Floats]:
    """Bearing [degrees, -180..180] and length [m]; shapes broadcast."""
    shaped = np.broadcast_arrays(
        *(_array(value) for value in (longitude_deg, latitude_deg, to_longitude_deg, to_latitude_deg))
    )
    shape = shaped[0].shape
    start_longitude, start_latitude, end_longitude, end_latitude = (
        np.array(value).ravel() for value in shaped
    )
    azimuth, _, length_m = _GEOD.inv(start_longitude, start_latitude, end_longitude, end_latitude)
    return _array(azimuth).reshape(shape), _array(length_m).reshape(shape)


def _plane(centre: tuple[float, float], *, inverse: bool) -> Transformer:
    latitude, longitude = centre
    plane = CRS.from_proj4(f"+proj=aeqd +lat_0={latitude:.12f} +lon_0={longitude:.12f} +datum=WGS84 +units=m")
    ends = (plane, CRS.from_epsg(4326)) if inverse else (CRS.from_epsg(4326), plane)
    return Transformer.from_crs(*ends, always_xy=True)


def _array(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)
