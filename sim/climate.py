"""Climate of a place from the digital maps of the ITU-R, looked up once and kept on disk.

The maps come with the library ``itur``, which takes a second to import: a warm start never imports it. Each
place is looked up by itself, since ``itur`` 0.4 mixes up the rain rates of places given together.
"""

import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields, replace
from functools import cache
from importlib.metadata import version
from typing import Any

import numpy as np

from hopyears.models.air import seasonality
from hopyears.models.air.rain_law import RainLaw, annual_rain_probability, rain_law, rates_and_chances
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.memory import holes_given_back
from hopyears.sim.storage.disk_cache import Key, kept, kept_arrays

_FORMAT = 1
_DECIMALS = 6
_MEDIAN_PERCENT = 50
_KELVIN = 273.15


@dataclass(frozen=True)
class Climate:
    """What the propagation laws need to know of a place; the fields not given by a user are map values.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        The place [degrees], -90 to 90 and -180 to 180.
    altitude_m : float
        Height above sea level at which gases are taken [m]; by default of the ground (P.1511-2 map).
    temperature_c, rainfall_mm : tuple of 12 floats
        Monthly mean surface temperature [degrees Celsius] (P.1510-1) and rainfall [mm] (P.837-7).
    rain_rate_001_mm_h : float
        Rain rate exceeded for 0.01 % of the year [mm/h], P.837-7's own map.
    dn1_n_km : float
        Refractivity gradient in the lowest 65 m not exceeded for 1 % of the year [N units/km] (P.453).
    terrain_roughness_m : float
        s_a, standard deviation of terrain heights in a square of 110 km [m] (P.530-17).
    rain_height_m : float
        Mean yearly rain height above sea level [m] (P.839-4).
    vapour_density_g_m3 : float
        Water vapour density exceeded for half of the year [g/m3] (P.836-6), at ``altitude_m``.
    pressure_hpa : float
        Total air pressure of the standard atmosphere at ``altitude_m`` [hPa] (P.835-6).
    annual_temperature_c : float
        Mean yearly surface temperature [degrees Celsius] (P.1510-1).
    climatic_ratio : float
        r_c of P.678-3, year-to-year spread of the climate itself; see ``seasonality.climatic_ratio``.
    """

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    temperature_c: tuple[float, ...]
    rainfall_mm: tuple[float, ...]
    rain_rate_001_mm_h: float
    dn1_n_km: float
    terrain_roughness_m: float
    rain_height_m: float
    vapour_density_g_m3: float
    pressure_hpa: float
    annual_temperature_c: float
    climatic_ratio: float = 0.0

    @property
    def rain_law(self) -> RainLaw:
        """Monthly rain-rate law of the place (P.837-7)."""
        return rain_law(self.temperature_c, self.rainfall_mm)


def climate_of(latitude_deg: float, longitude_deg: float, *, altitude_m: float | None = None) -> Climate:
    """Climate of a place, from the cache or else from the maps.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        [degrees], -90 to 90 and -180 to 180; taken to 0.000001 degrees (0.1 m).
    altitude_m : float, optional
        Height above sea level for pressure and water vapour [m]; the ground's if left out.

    Raises
    ------
    ValueError
        If a coordinate is out of range or not a number, or the maps have no value there (close to a pole).
    """
    latitude, longitude = round(float(latitude_deg), _DECIMALS), round(float(longitude_deg), _DECIMALS)
    if not -90.0 <= latitude <= 90.0:
        raise ValueError(f"latitude_deg is {latitude_deg}; must be -90 to 90")
    if not -180.0 <= longitude <= 180.0:
        raise ValueError(f"longitude_deg is {longitude_deg}; must be -180 to 180")
    if altitude_m is not None and not -500.0 <= altitude_m <= 9000.0:
        raise ValueError(f"altitude_m is {altitude_m}; must be -500 to 9000")
    altitude = None if altitude_m is None else round(float(altitude_m), 2)
    key = (latitude, longitude, altitude, _map_version(), _FORMAT)
    found = kept("climate", key, lambda: asdict(_look_up(latitude, longitude, altitude)), _climate_from)
    return replace(found, climatic_ratio=ratio_of(found.rain_law))


def ratio_of(law: RainLaw) -> float:
    """r_c of P.678-3 of a place with this rain law."""
    return seasonality.climatic_ratio(annual_rain_probability(law))


def climates_of(places: Iterable[tuple[float, float, float | None]]) -> list[Climate]:
    """Climate of each (latitude, longitude, altitude or None), in order; see ``climate_of``."""
    return [climate_of(latitude, longitude, altitude_m=altitude) for latitude, longitude, altitude in places]


def monthly_rain_grid(latitudes_deg: Floats, longitudes_deg: Floats) -> tuple[Floats, Floats]:
    """Mean rate r [mm/h] and probability of rain P0 by month on a grid of places, from the cache or the maps.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : array
        Rows and columns of the grid [degrees].

    Returns
    -------
    rate, probability : array, shape (n_rows, n_columns, 12)
        ITU-R P.837-7, Annex 1, from monthly rainfall (its map) and temperature (P.1510-1). Dry where the maps
        have nothing.
    """
    rows = tuple(float(value) for value in latitudes_deg)
    columns = tuple(float(value) for value in longitudes_deg)

    def compute() -> dict[str, Floats]:
        import itur.models.itu837 as itu837
        from itur.models.itu1510 import surface_month_mean_temperature

        grid = np.meshgrid(rows, columns, indexing="ij")
        rain_maps = vars(itu837)["__model"].instance
        months = range(1, 13)
        kelvin = [surface_month_mean_temperature(*grid, month).value for month in months]
        rain = [rain_maps.Mt(grid[0], grid[1] % 360.0, month) for month in months]
        temperature = np.nan_to_num(np.stack(kelvin, axis=-1), nan=_KELVIN) - _KELVIN
        rainfall = np.maximum(np.nan_to_num(np.stack(rain, axis=-1)), 0.0)
        rate, probability = rates_and_chances(temperature, rainfall)
        return {"rate": rate.ravel(), "probability": probability.ravel()}

    found = kept_arrays("rain-grid", (_FORMAT, _map_version(), rows, columns), compute)
    shape = (len(rows), len(columns), 12)
    return found["rate"].reshape(shape), found["probability"].reshape(shape)


def maps_let_go() -> None:
    """Give back the memory of maps that were read, half a GiB; what needs them again reads them again."""
    models = [module for name, module in sys.modules.items() if name.startswith("itur.models.itu")]
    for module in models:
        if hasattr(module, "change_version"):  # to the same: the library begins anew, without maps
            module.change_version(module.get_version())
    if models:
        holes_given_back()


def land_shares(edges_deg: Floats) -> Floats:
    """Share of land of areas of a degree or more, from the cache or the library's mask of land and sea.

    Parameters
    ----------
    edges_deg : array, shape (n, 4)
        South, west, north, east [degrees].

    Returns
    -------
    array, shape (n,)
        0 to 1: mean of the mask, 0.75 degrees fine, at 16 places of each area (P.453-12).
    """

    def compute() -> dict[str, Floats]:
        from itur.utils import dataset_dir
        from scipy.interpolate import RegularGridInterpolator

        with np.load(f"{dataset_dir}453/v12_landsea_mask.npz") as file:
            mask = file["arr_0"][::-1]
        grid = (np.linspace(-90.0, 90.0, mask.shape[0]), np.linspace(0.0, 360.0, mask.shape[1]))
        within = (np.arange(4) + 0.5) / 4.0
        up, along = (each.ravel() for each in np.meshgrid(within, within))
        latitude = edges_deg[:, :1] + up * (edges_deg[:, 2:3] - edges_deg[:, :1])
        longitude = edges_deg[:, 1:2] + along * (edges_deg[:, 3:] - edges_deg[:, 1:2])
        found = RegularGridInterpolator(grid, mask)(np.stack([latitude, longitude % 360.0], axis=-1))
        return {"share": found.mean(axis=1)}

    edges = tuple(round(float(value), _DECIMALS) for value in edges_deg.ravel())
    return kept_arrays("land", (_FORMAT, _map_version(), edges), compute)["share"]


def gas_db_per_km(frequency_ghz: float, climate: Climate) -> float:
    """Attenuation by oxygen and water vapour on a terrestrial path [dB/km], from the cache or ``itur``.

    Parameters
    ----------
    frequency_ghz : float
        [GHz], 1 to 1000.
    climate : Climate
        Its pressure, mean temperature and water vapour density are used.

    Raises
    ------
    ValueError
        If the frequency is out of range.

    References
    ----------
    ITU-R P.676-12 (2019), Annex 1, equations (1) to (10), summed line by line.
    """
    if not 1.0 <= frequency_ghz <= 1000.0:
        raise ValueError(f"frequency_ghz is {frequency_ghz}; must be 1 to 1000")
    temperature_k = climate.annual_temperature_c + _KELVIN
    vapour = climate.vapour_density_g_m3
    dry_pressure = climate.pressure_hpa - vapour * temperature_k / 216.7
    inputs = [round(value, _DECIMALS) for value in (frequency_ghz, dry_pressure, vapour, temperature_k)]
    key: Key = (*inputs, _map_version(), _FORMAT)
    return kept(
        "gas",
        key,
        lambda: {"gas_db_per_km": _specific_gas(*inputs)},
        lambda values: float(values["gas_db_per_km"]),
    )


def _look_up(latitude: float, longitude: float, altitude_m: float | None) -> Climate:
    import itur.models.itu530 as itu530
    import itur.models.itu837 as itu837
    import numpy as np
    from itur.models.itu453 import DN65
    from itur.models.itu835 import standard_pressure
    from itur.models.itu836 import surface_water_vapour_density
    from itur.models.itu839 import rain_height
    from itur.models.itu1510 import surface_mean_temperature, surface_month_mean_temperature
    from itur.models.itu1511 import topographic_altitude

    def number(quantity: Any) -> float:
        return float(np.asarray(getattr(quantity, "value", quantity)).ravel()[0])

    place = (latitude, longitude)
    row, column = np.array([[latitude]]), np.array([[longitude % 360.0]])
    # Two maps that the library reads but does not offer: monthly rainfall and terrain roughness.
    rain_maps, path_maps = vars(itu837)["__model"].instance, vars(itu530)["__model"].instance
    ground_m = 1000.0 * number(topographic_altitude(*place))
    altitude = ground_m if altitude_m is None else altitude_m
    months = range(1, 13)
    found = Climate(
        latitude_deg=latitude,
        longitude_deg=longitude,
        altitude_m=altitude,
        temperature_c=tuple(number(surface_month_mean_temperature(*place, m)) - _KELVIN for m in months),
        rainfall_mm=tuple(max(number(rain_maps.Mt(row, column, m)), 0.0) for m in months),
        rain_rate_001_mm_h=number(itu837.rainfall_rate(*place, 0.01)),
        dn1_n_km=number(DN65(*place, 1)),
        terrain_roughness_m=max(number(path_maps.s_a(row, column)), 0.0),
        rain_height_m=1000.0 * number(rain_height(*place)),
        vapour_density_g_m3=number(surface_water_vapour_density(*place, _MEDIAN_PERCENT, altitude / 1000.0)),
        pressure_hpa=number(standard_pressure(altitude / 1000.0)),
        annual_temperature_c=number(surface_mean_temperature(*place)) - _KELVIN,
    )
    for name, value in asdict(found).items():
        if not np.all(np.isfinite(value)):
            raise ValueError(f"latitude_deg is {latitude}; must be where the ITU-R maps have {name}")
    return found


def _specific_gas(
    frequency_ghz: float, dry_pressure_hpa: float, vapour_density_g_m3: float, temperature_k: float
) -> float:
    from itur.models.itu676 import gamma_exact

    gamma = gamma_exact(frequency_ghz, dry_pressure_hpa, vapour_density_g_m3, temperature_k)
    return float(gamma.value)


def _climate_from(values: dict[str, Any]) -> Climate:
    """A climate of stored values; KeyError, TypeError or ValueError if they are not those of a climate."""
    numbers = {field.name: values[field.name] for field in fields(Climate)}
    for name in ("temperature_c", "rainfall_mm"):
        numbers[name] = tuple(float(value) for value in numbers[name])
        if len(numbers[name]) != 12:
            raise ValueError(f"{name} is a list of {len(numbers[name])}; must be twelve values")
    rest = {name: float(value) for name, value in numbers.items() if not isinstance(value, tuple)}
    return Climate(**{**numbers, **rest})


@cache
def _map_version() -> str:
    return version("itur")  # read from its metadata: nothing is imported
