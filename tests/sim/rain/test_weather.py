"""Weather by place: tiles and nodes of the map, one law beside another, nothing that hangs on the network."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.storm import DEFAULT_STORMS, drift_by_latitude, without_drift
from hopyears.models.basics.calendar import MONTH_SECONDS, month_of
from hopyears.models.basics.geometry import local_plane_km
from hopyears.sim.rain import weather as weather_of
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.rain.weather import Nodes, map_weather, places_km, tile_bounds, uniform_weather
from hopyears.sim.streams import Streams


def weather(centre_deg, region):
    return map_weather(centre_deg, region, DEFAULT_POPULATION, DEFAULT_STORMS)


def test_tiles_cover_the_globe_once():
    """Areas of all tiles add up to the sphere's; a place lies in one of them."""
    everywhere = tile_bounds((0.0, 0.0), Region(0.0, 0.0, 0.0, 0.0), 25_000.0)
    south, west, north, east = np.array([bounds for _, _, bounds, _ in everywhere]).T
    area = (east - west) * (np.sin(north) - np.sin(south))
    assert area.sum() == pytest.approx(4.0 * np.pi, rel=1e-9)
    inside = (south <= 0.8) & (north > 0.8) & (west <= 0.3) & (east > 0.3)
    assert inside.sum() == 1


def test_places_are_those_of_the_plane():
    """Against pyproj on the ellipsoid: 0.4 % of the distance."""
    centre = (47.5, 8.0)
    bounds = np.deg2rad([50.0, 12.0, 52.0, 15.2])
    for up, along in ((0.0, 0.0), (1.0, 1.0), (0.5, 0.2)):
        x, y, north = places_km(centre, bounds, np.array(up), np.array(along))
        sine = np.sin(bounds[0]) + up * (np.sin(bounds[2]) - np.sin(bounds[0]))
        latitude, longitude = np.rad2deg(np.arcsin(sine)), 12.0 + along * 3.2
        east_km, north_km = local_plane_km(latitude, longitude, centre=centre)
        assert np.hypot(x - east_km, y - north_km) < 0.004 * np.hypot(x, y)
        ahead = local_plane_km(latitude + 0.01, longitude, centre=centre)
        bearing = np.arctan2(ahead[0] - east_km, ahead[1] - north_km)
        assert float(north) == pytest.approx(float(bearing), abs=0.01)


def test_laws_between_nodes_are_blended():
    laws = tuple(RainLaw(np.full(12, 1.0 + i), np.full(12, 0.1)) for i in range(4))
    nodes = Nodes(45.0, 8.0, 1.0, 2, 2, laws)
    shares = {law.mean_rate_mm_h[0]: share for share, law in nodes.about(45.25, 8.5)}
    assert shares == pytest.approx({1.0: 0.375, 2.0: 0.375, 3.0: 0.125, 4.0: 0.125})
    assert [share for share, _ in nodes.about(45.0, 8.0)] == [1.0]


def test_drift_goes_with_the_westerlies_and_the_trades():
    """Towards the east from 40 degrees on, towards the west within 15; both hemispheres mirror each other."""
    for latitude in (45.0, -45.0):
        heading = drift_by_latitude(latitude, np.arange(12))[:, 1]
        assert np.all((heading > 45.0) & (heading < 135.0))
    assert np.all(np.abs(drift_by_latitude(5.0, np.arange(12))[:, 1] - 270.0) < 1.0)
    north, south = drift_by_latitude(30.0, 0), drift_by_latitude(-30.0, 6)
    assert north[0] == pytest.approx(south[0])
    assert (180.0 - north[1]) % 360.0 == pytest.approx(south[1] % 360.0)


@pytest.mark.slow
def test_a_larger_region_of_the_map_keeps_every_shape_of_a_smaller_one():
    centre, small, large = (45.5, 9.0), Region(-25.0, -25.0, 25.0, 25.0), Region(-25.0, -25.0, 200.0, 150.0)
    one, more = (
        draw_storms(Streams(6, 0), weather(centre, region), region, n_years=1) for region in (small, large)
    )
    assert more.n_cells > one.n_cells
    assert {row.tobytes() for row in one.cells} <= {row.tobytes() for row in more.cells}
    # A wide shape that is half-way beyond the nodes about the small region takes the law of the outermost.
    kept = {row.tobytes() for row in one.wide} & {row.tobytes() for row in more.wide}
    assert len(kept) > 0.99 * one.n_wide


@pytest.mark.slow
def test_a_wet_coast_and_the_dry_land_behind_it_in_one_run():
    """Showers born about each place, month by month over 20 years, against the map's law there."""
    centre, region = (60.5, 7.5), Region(-150.0, -25.0, 150.0, 25.0)
    field_weather = weather(centre, region)
    places = {"coast": (60.5, 5.5), "inland": (60.5, 9.5)}
    found, wanted = {name: [] for name in places}, {}
    for name, place in places.items():
        node = next(law for share, law in field_weather.nodes.about(*place) if share > 0.2)
        wanted[name] = node
    for block in range(4):
        field = draw_storms(Streams(9, block), field_weather, region, n_years=5)
        for name, place in places.items():
            x, y = local_plane_km(*place, centre=centre)
            near = np.hypot(field.cells[:, 2] - x, field.cells[:, 3] - y) < 25.0
            found[name].append(near.sum() / 5.0)
    mean = {name: np.mean(values) for name, values in found.items()}
    expected = {}
    for name, place in places.items():
        total = 0.0
        for share, law in field_weather.nodes.about(*place):
            index = next(i for i, node in enumerate(field_weather.nodes.laws) if node is law)
            births = field_weather.laws[:, index].prod(axis=1)  # systems, storms and cells; wide is no cell
            births /= np.maximum(field_weather.laws[:, index, 2], 1e-300)
            total += share * float(births @ MONTH_SECONDS)
        expected[name] = total * np.pi * 25.0**2
    error = {name: np.std(values, ddof=1) / 2.0 for name, values in found.items()}
    for name in places:
        assert mean[name] == pytest.approx(expected[name], abs=4.0 * error[name] + 0.07 * expected[name])
    assert expected["coast"] > 1.5 * expected["inland"]


def test_ceilings_between_the_places_of_the_table_are_those_of_scipy():
    """Bilinear, and going on beyond the last place as between the last two."""
    rng = np.random.default_rng(1)
    rate, chance = np.exp(rng.uniform(-3.0, 3.4, (5, 4, 12))), rng.uniform(0.0, 1.0, (5, 4, 12))
    rate[0, 0], chance[0, 1, :9] = weather_of._TABLE_RATES[:12], weather_of._TABLE_CHANCES
    found = weather_of._gathered_fast(rate, chance, DEFAULT_POPULATION, DEFAULT_STORMS)
    table = weather_of._table_of_gathering(DEFAULT_POPULATION, without_drift(DEFAULT_STORMS))
    axes = np.log(weather_of._TABLE_RATES), np.sqrt(weather_of._TABLE_CHANCES)
    library = RegularGridInterpolator(axes, table, bounds_error=False, fill_value=None)
    at = np.log(np.maximum(rate, weather_of._TABLE_RATES[0])), np.sqrt(chance)
    expected = 1.05 * library(np.stack(at, axis=-1))
    expected[..., 0] *= chance
    np.testing.assert_allclose(found, expected, rtol=1e-13)


def always(amplitude, hour):
    """A daily cycle that is the same everywhere and in all months."""
    return lambda latitude_deg, land_share: np.tile([amplitude, hour], (12, 1))


def drawn(cycle, centre_deg=(0.0, 120.0), seed=3, n_years=1):
    law, region = RainLaw(np.full(12, 3.0), np.full(12, 0.05)), Region(-25.0, -25.0, 25.0, 25.0)
    place = uniform_weather(
        law, region, DEFAULT_POPULATION, DEFAULT_STORMS, centre_deg=centre_deg, cycle=cycle
    )
    return draw_storms(Streams(seed, 0), place, region, n_years=n_years)


def test_no_daily_cycle_is_the_field_without_one():
    with_none, flat = drawn(None), drawn(always(0.0, 9.0))
    np.testing.assert_array_equal(with_none.cells, flat.cells)
    np.testing.assert_array_equal(with_none.wide, flat.wide)


def test_wide_rain_has_no_daily_cycle():
    np.testing.assert_array_equal(drawn(None).wide, drawn(always(0.9, 17.0)).wide)


@pytest.mark.slow
@pytest.mark.parametrize(("amplitude", "hour"), [(0.6, 17.0), (0.9, 5.0)])
def test_showers_follow_the_hours_of_the_law(amplitude, hour):
    """The 24 h wave of the showers' rain, in height and hour, to 4 standard errors over blocks."""
    waves = []
    for seed in range(12):
        field = drawn(always(amplitude, hour), seed=seed, n_years=2)
        rain = field.cells[:, 1] * np.exp(field.cells[:, 6]) * field.cells[:, 7] ** 2
        rain = np.minimum(rain, np.quantile(rain, 0.99))  # the few strongest would hide all others
        middle_s = field.cells[:, 0] + 0.5 * field.cells[:, 1]
        local_h = (middle_s / 3600.0 + 120.0 / 15.0) % 24.0
        waves.append(np.sum(rain * np.exp(2j * np.pi * (local_h - hour) / 24.0)) / rain.sum())
    waves = 2.0 * np.array(waves)
    # Cells are born over two hours from the storm's beginning and last for a while: 1 to 2 % less.
    error = waves.std(ddof=1) / np.sqrt(len(waves))
    assert error < 0.1
    assert abs(waves.mean() - 0.985 * amplitude) < 4.0 * error


@pytest.mark.slow
def test_a_daily_cycle_leaves_the_number_of_showers_of_every_month():
    """Paired with the field without one, over 20 years: 4 standard errors."""
    ratio = []
    for seed in range(10):
        count = [
            np.bincount(month_of(field.cells[:, 0]), minlength=12)
            for field in (drawn(cycle, seed=seed, n_years=2) for cycle in (None, always(0.9, 17.0)))
        ]
        ratio.append((count[1] - count[0]) / np.mean(count[0]))
    ratio = np.array(ratio)
    error = ratio.std(axis=0, ddof=1) / np.sqrt(len(ratio))
    assert np.all(np.abs(ratio.mean(axis=0)) < 4.5 * error)
    assert abs(ratio.mean()) < 4.0 * ratio.mean(axis=1).std(ddof=1) / np.sqrt(len(ratio))


def test_tiles_have_the_cycle_of_their_land_and_sea():
    """A tile well inland in Europe and one of the Atlantic, times in UTC; July."""
    life_s = DEFAULT_POPULATION.mean_life_s * (1.0 + 1.0 / DEFAULT_POPULATION.life_shape)
    lag_h = 0.5 * (DEFAULT_STORMS.storm_duration_s + life_s) / 3600.0
    for centre, amplitude, local_h in (((49.0, 15.0), 0.575, 17.0), ((45.0, -30.0), 0.2, 5.0)):
        tile = next(t for t in weather(centre, Region(0.0, 0.0, 0.0, 0.0)).tiles if t.distance_km == 0.0)
        assert tile.days[6, 0] == pytest.approx(amplitude, abs=0.02)
        west_deg = np.rad2deg(0.5 * (tile.bounds[1] + tile.bounds[3]))
        assert tile.days[6, 1] / 3600.0 == pytest.approx((local_h - west_deg / 15.0 - lag_h) % 24.0)
