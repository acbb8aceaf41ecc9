"""Rain laws over the map, and the tiles of the globe in which systems of rain are born.

A system is born in a tile with the most rain that any place in its reach has; what of it each place gets is
decided shape by shape, by the laws of the four nodes of the map about that place. So every place has its own
point law, without an edge, and nothing depends on the network.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import astuple, dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from hopyears.models.air.daily_cycle import shower_cycle
from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.seasonality import climatic_ratio
from hopyears.models.air.storm import StormModel, drift_by_latitude, without_drift
from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.calendar import MONTH_DAYS
from hopyears.models.basics.units import EARTH_RADIUS_KM, SECONDS_PER_DAY
from hopyears.sim.climate import land_shares, monthly_rain_grid, ratio_of
from hopyears.sim.rain.peaks import RAIN_MODEL_VERSION, month_laws
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.rain_laws import LocalLaw, MonthLaw, farthest_km, gathering
from hopyears.sim.rain.storm_loops import SCORES
from hopyears.sim.storage.disk_cache import Key, kept_arrays, kept_arrays_each

TILE_DEG = 2.0
"""Height of a tile; each band of latitude is cut into tiles about as wide."""

NODE_DEG = 1.0
"""Distance of the nodes of the map, between which laws are blended."""

_MARGIN_KM = 200.0
_REACH_DEG = 4.0
_SLACK = 1.05
_TABLE_RATES = np.geomspace(0.3, 12.0, 20)
_TABLE_CHANCES = np.linspace(0.02, 0.84, 9) ** 2

DriftLaw = Callable[[float, Ints], Floats]
CycleLaw = Callable[[float, float], Floats]
TileBounds = tuple[int, int, Floats, float]


@dataclass(frozen=True)
class Tile:
    """A tile of the globe.

    Its band and number in it; bounds south, west, north, east [rad]; distance from the region [km]; by month
    the most that any place in reach has (see ``shapes_near``), and mean speed [km/h], heading and its
    deviation [degrees] of systems; by month the daily cycle of showers (see ``shapes_near``), times UTC;
    spread of the years' numbers of systems over their mean (r_c of ITU-R P.678-3).
    """

    band: int
    number: int
    bounds: Floats
    distance_km: float
    ceilings: Floats
    drift: Floats
    days: Floats
    yearly_spread: float

    @property
    def area_km2(self) -> float:
        """Area on the sphere."""
        south, west, north, east = self.bounds
        return float(EARTH_RADIUS_KM**2 * (east - west) * (np.sin(north) - np.sin(south)))


@dataclass(frozen=True)
class Nodes:
    """Nodes of the map about a network: rows and columns from a first latitude and longitude [degrees] at a
    distance, and the law of each, row by row. A single one serves everywhere."""

    latitude_deg: float
    longitude_deg: float
    step_deg: float
    n_rows: int
    n_columns: int
    laws: tuple[RainLaw, ...]

    def about(self, latitude_deg: float, longitude_deg: float) -> LocalLaw:
        """Shares (of one) and laws of the nodes about a place."""
        if len(self.laws) == 1:
            return [(1.0, self.laws[0])]
        row, up = _between((latitude_deg - self.latitude_deg) / self.step_deg, self.n_rows)
        east = (longitude_deg - self.longitude_deg + 180.0) % 360.0 - 180.0
        column, along = _between(east / self.step_deg, self.n_columns)
        found = []
        for i, vertical in ((row, 1.0 - up), (row + 1, up)):
            for j, across in ((column, 1.0 - along), (column + 1, along)):
                if vertical * across > 0.0:
                    found.append((vertical * across, self.laws[i * self.n_columns + j]))
        return found


def _between(place: float, count: int) -> tuple[int, float]:
    low = int(np.clip(np.floor(place), 0, max(count - 2, 0)))
    return low, float(np.clip(place - low, 0.0, 1.0))


@dataclass(frozen=True)
class Weather:
    """All that systems are drawn from about a network's plane.

    Parameters
    ----------
    centre_deg : (float, float)
        Latitude and longitude of the plane's centre.
    nodes : Nodes
        Climate of the map.
    laws, quantiles : arrays
        Of the nodes, in the layout of ``shapes_near``.
    tiles : tuple of Tile
        From which a system may reach the region, in a fixed order.
    """

    centre_deg: tuple[float, float]
    nodes: Nodes
    laws: Floats
    quantiles: Floats
    tiles: tuple[Tile, ...]

    @property
    def grid(self) -> Floats:
        """Plane and nodes in numbers, for ``shapes_near``."""
        nodes = self.nodes
        angles = (*self.centre_deg, nodes.latitude_deg, nodes.longitude_deg, nodes.step_deg)
        return np.array([*np.deg2rad(angles), nodes.n_rows, nodes.n_columns])


def places_km(
    centre_deg: tuple[float, float], bounds: Floats, up: Floats, along: Floats
) -> tuple[Floats, Floats, Floats]:
    """Places between bounds (south, west, north, east [rad]) on the plane: x, y [km], and the bearing of
    true north there [rad].

    Azimuthal equidistant on the sphere, as ``models.basics.geometry`` on the ellipsoid to 0.3 %.
    """
    south, west, north, east = bounds
    sine = np.sin(south) + up * (np.sin(north) - np.sin(south))
    cosine = np.sqrt(1.0 - sine**2)
    centre, middle = np.deg2rad(centre_deg)
    turn = west + along * (east - west) - middle
    across = cosine * np.sin(turn)
    ahead = np.cos(centre) * sine - np.sin(centre) * cosine * np.cos(turn)
    towards = np.clip(np.sin(centre) * sine + np.cos(centre) * cosine * np.cos(turn), -1.0, 1.0)
    angle = np.arccos(towards)
    stretch = EARTH_RADIUS_KM * angle / np.maximum(np.sin(angle), 1e-12)
    return stretch * across, stretch * ahead, -np.sin(centre) * np.sin(turn)


def _coordinates_deg(x_km: Floats, y_km: Floats, centre_deg: tuple[float, float]) -> tuple[Floats, Floats]:
    """Latitude and longitude [degrees] of places on the plane: the inverse of ``places_km``."""
    latitude, longitude = np.deg2rad(centre_deg)
    distance = np.maximum(np.hypot(x_km, y_km), 1e-9)
    angle = distance / EARTH_RADIUS_KM
    ahead, across = y_km / distance * np.sin(angle), x_km / distance * np.sin(angle)
    sine = np.sin(latitude) * np.cos(angle) + ahead * np.cos(latitude)
    turn = np.arctan2(across * np.cos(latitude), np.cos(angle) - np.sin(latitude) * sine)
    return np.rad2deg(np.arcsin(sine)), np.rad2deg(longitude + turn)


def tile_bounds(centre_deg: tuple[float, float], region: Region, within_km: float) -> list[TileBounds]:
    """Band, number, bounds [rad] and distance [km] of the tiles within a distance of a region, in a fixed
    order."""
    reach = np.hypot(
        max(-region.south_km, region.north_km, 0.0) + within_km,
        max(-region.west_km, region.east_km, 0.0) + within_km,
    )
    span = np.rad2deg(reach / EARTH_RADIUS_KM) + TILE_DEG
    found = []
    for band in range(round(180.0 / TILE_DEG)):
        south = -90.0 + band * TILE_DEG
        if abs(south + 0.5 * TILE_DEG - centre_deg[0]) > span:
            continue
        per_band = max(round(360.0 * np.cos(np.deg2rad(south + 0.5 * TILE_DEG)) / TILE_DEG), 3)
        width = 360.0 / per_band
        west = -180.0 + np.arange(per_band) * width
        level = np.full(per_band, south)
        bounds = np.deg2rad(np.column_stack([level, west, level + TILE_DEG, west + width]))
        distance_km = _distances_km(centre_deg, bounds, region)
        found += [
            (band, number, bounds[number], float(distance_km[number]))
            for number in np.flatnonzero(distance_km < within_km).tolist()
        ]
    return found


def _distances_km(centre_deg: tuple[float, float], bounds: Floats, region: Region) -> Floats:
    """Distances between tiles and a region on the plane, or a little less, shape (n_tiles,)."""
    up, along = (share.ravel() for share in np.meshgrid(*[np.linspace(0.0, 1.0, 5)] * 2))
    x, y, _ = places_km(centre_deg, bounds.T[:, :, None], up, along)
    away_x = np.maximum(np.maximum(region.west_km - x, x - region.east_km), 0.0)
    away_y = np.maximum(np.maximum(region.south_km - y, y - region.north_km), 0.0)
    between = 0.15 * np.deg2rad(TILE_DEG) * EARTH_RADIUS_KM
    return np.asarray(np.maximum(np.hypot(away_x, away_y).min(axis=1) - between, 0.0))


def uniform_weather(
    law: RainLaw,
    region: Region,
    population: CellPopulation,
    storms: StormModel,
    *,
    centre_deg: tuple[float, float] = (0.0, 0.0),
    drift: DriftLaw | None = None,
    cycle: CycleLaw | None = None,
) -> Weather:
    """The same climate everywhere, drift of the model, and all hours alike, unless told by latitude and
    month, and by latitude and share of land."""
    laws, quantiles = node_numbers([law], population, storms)
    own = np.tile([storms.mean_drift_km_h, storms.drift_towards_deg, storms.drift_spread_deg], (12, 1))
    bounds = tile_bounds(centre_deg, region, farthest_km(population, storms))
    days = np.zeros((len(bounds), 12, 2)) if cycle is None else _days(cycle, bounds, population, storms)
    spread = storms.yearly_spread
    tiles = tuple(
        Tile(
            band,
            number,
            edges,
            distance_km,
            ceilings=laws[:, 0],
            drift=own if drift is None else _drift_of(drift, edges),
            days=day,
            yearly_spread=ratio_of(law) if spread is None else spread,
        )
        for (band, number, edges, distance_km), day in zip(bounds, days, strict=True)
    )
    return Weather(centre_deg, Nodes(0.0, 0.0, 1.0, 1, 1, (law,)), laws, quantiles, tiles)


def _drift_of(drift: DriftLaw, bounds: Floats) -> Floats:
    return drift(float(np.rad2deg(0.5 * (bounds[0] + bounds[2]))), np.arange(12))


def _days(
    cycle: CycleLaw, bounds: Sequence[TileBounds], population: CellPopulation, storms: StormModel
) -> Floats:
    """Daily cycle of storms' beginnings in each tile by month, shape (n_tiles, 12, 2): amplitude and time of
    day of most [s UTC], so that their rain peaks at the local solar hour of the law."""
    edges = np.rad2deg([each for _, _, each, _ in bounds]).reshape(-1, 4)
    land = land_shares(edges)
    latitude, longitude = 0.5 * (edges[:, 0] + edges[:, 2]), 0.5 * (edges[:, 1] + edges[:, 3])
    found = np.array([cycle(*place) for place in zip(latitude, land, strict=True)]).reshape(-1, 12, 2)
    # Of a storm's rain: its cells begin evenly, and those that live long rain most.
    life_s = population.mean_life_s * (1.0 + 1.0 / population.life_shape)
    lag_s = 0.5 * (storms.storm_duration_s + life_s)
    hour_utc = found[:, :, 1] - longitude[:, None] / 15.0
    return np.stack([found[:, :, 0], (3600.0 * hour_utc - lag_s) % SECONDS_PER_DAY], axis=-1)


def node_numbers(
    laws: Sequence[RainLaw], population: CellPopulation, storms: StormModel
) -> tuple[Floats, Floats]:
    """Gathering and quantiles of nodes in the layout of ``shapes_near``: (12, n, 4) and (12, n, 2,
    n_scores); kept on disk."""
    model = (RAIN_MODEL_VERSION, repr(astuple(population)), repr(astuple(without_drift(storms))))
    keys: list[Key] = [(*model, *law.mean_rate_mm_h.tolist(), *law.rain_probability.tolist()) for law in laws]

    def compute(lacking: list[int]) -> Iterator[dict[str, Floats]]:
        for i in lacking:
            months = month_laws(laws[i], population, storms)
            yield {
                "gathered": np.array([gathered(month, population, storms) for month in months]),
                "quantiles": np.array([_quantiles(month) for month in months]),
            }

    nodes = kept_arrays_each("nodes", keys, compute)
    found, quantiles = (
        np.stack([node[name] for node in nodes], axis=1) for name in ("gathered", "quantiles")
    )
    return found, quantiles


def _quantiles(month: MonthLaw) -> tuple[Floats, Floats]:
    """ln M at ``SCORES``, of showers and of wide shapes."""
    shares = ndtr(SCORES)
    return month.showers.quantile(shares), month.wide.quantile(shares)


def gathered(
    month: MonthLaw, population: CellPopulation, storms: StormModel
) -> tuple[float, float, float, float]:
    """Births of systems per km^2 and second, storms and wide shapes in a system, cells in a storm."""
    held = gathering(month, population, storms)
    return held.systems_per_km2_s, held.storms_per_system, held.wide_per_system, held.cells_per_storm


def map_weather(
    centre_deg: tuple[float, float],
    region: Region,
    population: CellPopulation,
    storms: StormModel,
    *,
    rate_scale: float = 1.0,
    drift: DriftLaw = drift_by_latitude,
    cycle: CycleLaw = shower_cycle,
) -> Weather:
    """The climate of the ITU-R maps about a network.

    Parameters
    ----------
    centre_deg : (float, float)
        Latitude and longitude of the plane's centre.
    region : Region
        Rectangle that must have the right rain.
    population, storms
        The rain model; the spread of years where it states none is that of each tile's rain.
    rate_scale : float
        Factor on all rain rates, above 0, for a user who has measured them.
    drift : callable
        Mean speed, heading and its deviation by latitude and month; see ``drift_by_latitude``.
    cycle : callable
        Daily cycle of showers by latitude and share of land; see ``shower_cycle``.
    """
    nodes = _nodes(centre_deg, region, rate_scale)
    laws, quantiles = node_numbers(nodes.laws, population, storms)
    bounds = tile_bounds(centre_deg, region, farthest_km(population, storms))
    most = _Ceilings(bounds, rate_scale, population, storms)
    spread = storms.yearly_spread
    tiles = tuple(
        Tile(
            band,
            number,
            edges,
            distance_km,
            ceilings=most.about(edges),
            drift=_drift_of(drift, edges),
            days=day,
            yearly_spread=most.yearly_spread(edges) if spread is None else spread,
        )
        for (band, number, edges, distance_km), day in zip(
            bounds, _days(cycle, bounds, population, storms), strict=True
        )
    )
    return Weather(centre_deg, nodes, laws, quantiles, tiles)


def _nodes(centre_deg: tuple[float, float], region: Region, rate_scale: float) -> Nodes:
    """Nodes about the region and what its shapes cover around it."""
    east = np.linspace(region.west_km - _MARGIN_KM, region.east_km + _MARGIN_KM, 9)
    north = np.linspace(region.south_km - _MARGIN_KM, region.north_km + _MARGIN_KM, 9)
    latitude, longitude = _coordinates_deg(*np.meshgrid(east, north), centre_deg)
    turned = (longitude - centre_deg[1] + 180.0) % 360.0 - 180.0 + centre_deg[1]
    rows = _steps(np.clip(latitude.min(), -89.0, 89.0), np.clip(latitude.max(), -89.0, 89.0), NODE_DEG)
    columns = _steps(turned.min(), turned.max(), NODE_DEG)
    rate, probability = monthly_rain_grid(rows, columns)
    laws = tuple(
        RainLaw(rate_scale * r, p)
        for r, p in zip(rate.reshape(-1, 12), probability.reshape(-1, 12), strict=True)
    )
    return Nodes(float(rows[0]), float(columns[0]), NODE_DEG, len(rows), len(columns), laws)


def _steps(low: float, high: float, step: float) -> Floats:
    """Multiples of a step that hold a range, two at least."""
    first = np.floor(low / step)
    return step * np.arange(first, max(np.ceil(high / step), first + 1) + 1)


class _Ceilings:
    """The most that places within ``_REACH_DEG`` of a tile have, from nodes two degrees apart."""

    def __init__(
        self, bounds: Sequence[TileBounds], rate_scale: float, population: CellPopulation, storms: StormModel
    ) -> None:
        edges = np.rad2deg([each for _, _, each, _ in bounds])
        reach = np.array([self._reach_deg(each) for each in edges])
        south, north = (edges[:, 0] - _REACH_DEG).min(), (edges[:, 2] + _REACH_DEG).max()
        self.rows = _steps(max(south, -88.0), min(north, 88.0), TILE_DEG)
        self.columns = _steps((edges[:, 1] - reach).min(), (edges[:, 3] + reach).max(), TILE_DEG)
        rate, probability = monthly_rain_grid(self.rows, self.columns)
        self.numbers = _gathered_fast(rate_scale * rate, probability, population, storms)
        self.chance = probability @ (MONTH_DAYS / MONTH_DAYS.sum())

    @staticmethod
    def _reach_deg(edges_deg: Floats) -> float:
        highest = min(max(abs(edges_deg[0]), abs(edges_deg[2])) + 0.5 * _REACH_DEG, 85.0)
        return float(_REACH_DEG / np.cos(np.deg2rad(highest)))

    def about(self, edges: Floats) -> Floats:
        """Ceilings of a tile of these bounds [rad], shape (12, 4)."""
        return np.asarray(self.numbers[self._near(edges)].max(axis=(0, 1)), dtype=np.float64)

    def yearly_spread(self, edges: Floats) -> float:
        """r_c of the mean probability of rain about a tile."""
        return climatic_ratio(float(self.chance[self._near(edges)].mean()))

    def _near(self, edges: Floats) -> tuple[Ints, ...]:
        degrees = np.rad2deg(edges)
        reach = self._reach_deg(degrees)
        rows = (self.rows >= degrees[0] - _REACH_DEG) & (self.rows <= degrees[2] + _REACH_DEG)
        columns = (self.columns >= degrees[1] - reach) & (self.columns <= degrees[3] + reach)
        return np.ix_(rows, columns)


def _gathered_fast(
    rate: Floats, probability: Floats, population: CellPopulation, storms: StormModel
) -> Floats:
    """``gathered`` of many months, a little above it, from a table that is the same for every network."""
    table = _table_of_gathering(population, without_drift(storms))
    place, share = zip(
        _cells(np.log(_TABLE_RATES), np.log(np.maximum(rate, _TABLE_RATES[0]))),
        _cells(np.sqrt(_TABLE_CHANCES), np.sqrt(probability)),
        strict=True,
    )
    found = np.zeros((*rate.shape, 4))
    for i, weight in ((place[0], 1.0 - share[0]), (place[0] + 1, share[0])):
        for j, other in ((place[1], 1.0 - share[1]), (place[1] + 1, share[1])):
            found += table[i, j] * (weight * other)[..., None]
    found[..., 0] *= probability
    return np.asarray(_SLACK * found, dtype=np.float64)


def _cells(grid: Floats, value: Floats) -> tuple[Ints, Floats]:
    """Cell of a grid that each value lies in, the first and last without an end, and how far along it."""
    cell = np.clip(np.searchsorted(grid, value, side="right") - 1, 0, len(grid) - 2)
    return cell, (value - grid[cell]) / (grid[cell + 1] - grid[cell])


@lru_cache(maxsize=8)
def _table_of_gathering(population: CellPopulation, storms: StormModel) -> Floats:
    """``gathered`` at rates and chances of the table, births of systems over the chance; kept on disk."""

    def compute() -> dict[str, Floats]:
        table = np.zeros((len(_TABLE_RATES), len(_TABLE_CHANCES), 4))
        for i, rate in enumerate(_TABLE_RATES):
            for j, chance in enumerate(_TABLE_CHANCES):
                law = RainLaw(np.full(12, rate), np.full(12, chance))
                table[i, j] = gathered(month_laws(law, population, storms)[0], population, storms)
            table[i, :, 0] /= _TABLE_CHANCES
        return {"table": table.ravel()}

    key: Key = (RAIN_MODEL_VERSION, repr(astuple(population)), repr(astuple(storms)))
    kept = kept_arrays(
        "gathering", (*key, tuple(_TABLE_RATES.tolist()), tuple(_TABLE_CHANCES.tolist())), compute
    )
    return kept["table"].reshape(len(_TABLE_RATES), len(_TABLE_CHANCES), 4)
