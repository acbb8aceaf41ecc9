"""Entry of a network file that says what its user knows of the climate."""

from typing import Annotated, Literal

from pydantic import Field

from hopyears.models.network.entry import Entry, Finite


class ClimateChange(Entry):
    """What the user knows better than the maps; the rest comes from the ITU-R maps by coordinates."""

    rain_rate_001_mm_h: Finite | None = Field(
        None, ge=1, le=300, description="exceeded 0.01 % of the year; default the maps of P.837"
    )
    monthly_temperature_c: tuple[Annotated[Finite, Field(ge=-60, le=60)], ...] | None = Field(
        None, min_length=12, max_length=12, description="January to December; default the maps of P.1510"
    )
    monthly_rainfall_mm: tuple[Annotated[Finite, Field(ge=0, le=5000)], ...] | None = Field(
        None, min_length=12, max_length=12, description="January to December; default the maps of P.837"
    )
    refractivity_gradient: Finite | None = Field(
        None, ge=-1400, le=0, description="dN1 of P.453, N-units per km; default the map, which ends at -1400"
    )
    terrain_roughness_m: Finite | None = Field(
        None, ge=0, le=3000, description="s_a of P.530-17, deviation of terrain heights; default its map"
    )
    multipath_edition: Literal[17, 18] = Field(
        17,
        description="edition of P.530 whose multipath occurrence counts; 18 needs geoclimatic_factor and "
        "refractivity_75 of every hop longer than 5 km, since its maps come with no released library",
    )
    wet_snow: bool = Field(
        True, description="hops near the rain height meet wet snow as P.530 says, else rain only"
    )
    rain_height_m: Finite | None = Field(
        None, ge=-1000, le=7000, description="mean of the year above sea level; default P.839"
    )
    year_to_year_ratio: Finite | None = Field(
        None, ge=0, le=7, description="r_c of P.678-3; default by the probability of rain"
    )
    storm_speed_km_h: Finite | None = Field(
        None, gt=0, le=200, description="mean drift of storms; default as calibrated"
    )
    storm_bearing_deg: Finite | None = Field(
        None, ge=0, lt=360, description="where storms go, clockwise from north; default as calibrated"
    )
    shower_daily_amplitude: Finite | None = Field(
        None,
        ge=0,
        le=1,
        description="showers of the busiest hour over their mean, less one; 0 makes all hours alike; "
        "default by latitude, month and share of land",
    )
    shower_peak_hour: Finite | None = Field(
        None, ge=0, lt=24, description="local solar hour of most showers; default 17 over land, 5 over sea"
    )
