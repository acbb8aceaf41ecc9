"""Ways on the ground against a general geodesy library."""

from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from hopyears.models.equipment.plant import great_circle_km


class Place(NamedTuple):
    latitude_deg: float
    longitude_deg: float


places = st.builds(Place, st.floats(-89.0, 89.0), st.floats(-180.0, 180.0))


@given(places, places)
def test_great_circles_agree_with_a_geodesy_library(one, other):
    """PROJ's geodesics (Karney 2013, Journal of Geodesy 87, 43) on a sphere of 6371 km."""
    _, _, distance_m = Geod(a=6_371_000.0, b=6_371_000.0).inv(*one[::-1], *other[::-1])
    assert great_circle_km(one, other) == pytest.approx(distance_m / 1000.0, rel=1e-6, abs=1e-3)
