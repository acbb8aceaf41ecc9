import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.basics import geometry

EARTH_RADIUS_KM = 6371.0
places = st.tuples(st.floats(-70, 70), st.floats(-180, 180))


def great_circle_km(latitude, longitude, to_latitude, to_longitude):
    """Second opinion: the haversine formula on a sphere, good to 0.6 % of the ellipsoid."""
    a, b = np.radians(latitude), np.radians(to_latitude)
    half = np.sin((b - a) / 2) ** 2
    half += np.cos(a) * np.cos(b) * np.sin(np.radians(to_longitude - longitude) / 2) ** 2
    return 2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(half))


def test_one_degree_of_latitude_at_the_equator_is_its_published_length():
    # WGS 84 (NIMA TR8350.2): a = 6378.137 km, 1/f = 298.257223563; meridian arc from 0 to 1 degree.
    assert geometry.path_length_km(0, 10, 1, 10) == pytest.approx(110.574, abs=1e-3)
    assert geometry.path_length_km(0, 10, 0, 11) == pytest.approx(6378.137 * np.pi / 180, rel=1e-9)


@given(places, places)
def test_length_agrees_with_the_sphere_and_is_the_same_both_ways(start, end):
    length = float(geometry.path_length_km(*start, *end))
    assert length == pytest.approx(great_circle_km(*start, *end), rel=0.006, abs=1e-6)
    assert length == pytest.approx(float(geometry.path_length_km(*end, *start)), rel=1e-9, abs=1e-9)


def test_shapes_broadcast_and_bearings_count_from_north_clockwise():
    bearing = geometry.bearing_deg(50.0, 10.0, [51.0, 50.0, 49.0, 50.0], [10.0, 10.1, 10.0, 9.9])
    assert bearing == pytest.approx([0.0, 90.0, 180.0, 270.0], abs=0.05)
    assert geometry.path_length_km(50.0, 10.0, np.full((2, 3), 51.0), 10.0).shape == (2, 3)


offsets = st.tuples(st.floats(-0.89, 0.89), st.floats(-0.89, 0.89))


@given(places, offsets, offsets)
def test_lengths_on_the_plane_are_those_of_the_ellipsoid(centre, start, end):
    """Ends up to 100 km north or south of the centre and as far east or west."""
    ends = [
        (centre[0] + north, centre[1] + east / np.cos(np.radians(centre[0]))) for north, east in (start, end)
    ]
    (east_0, north_0), (east_1, north_1) = (geometry.local_plane_km(*place, centre=centre) for place in ends)
    on_plane = np.hypot(east_1 - east_0, north_1 - north_0)
    # stretched by r^2/(6 R^2) at most, r = 141 km: 8e-5
    assert float(geometry.path_length_km(*ends[0], *ends[1])) == pytest.approx(on_plane, rel=1e-4, abs=1e-5)


def test_centre_of_a_network_across_the_180th_meridian_lies_on_it():
    centre = geometry.network_centre([-17.0, -17.0], [179.0, -179.0])
    assert abs(centre.longitude_deg) == pytest.approx(180.0)
    assert centre.latitude_deg == pytest.approx(-17.0, abs=0.01)
    with pytest.raises(ValueError, match="places is an empty list; must be at least one place"):
        geometry.network_centre([], [])


def test_inclination_is_a_magnitude_and_elevation_has_a_sign():
    assert geometry.path_inclination_mrad(100.0, 400.0, 30.0) == pytest.approx(10.0)
    assert geometry.path_inclination_mrad(400.0, 100.0, 30.0) == pytest.approx(10.0)
    assert geometry.path_elevation_deg(400.0, 100.0, 30.0) == pytest.approx(np.degrees(-0.01), rel=1e-4)
