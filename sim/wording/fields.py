"""Fields of the network file for a reader: unit by the ending of a name, and the source of a default."""

UNITS = {
    "km_h": "km/h", "mm_h": "mm/h", "mbit_s": "Mbit/s", "per_year": "1/year", "per_storm_h": "1/h",
    "per_week": "1/week", "dbm": "dBm", "dbi": "dBi", "db": "dB", "ghz": "GHz", "mhz": "MHz", "km": "km",
    "mm": "mm", "deg": "deg", "mrad": "mrad", "min": "min", "days": "days", "years": "years", "ns": "ns",
    "c": "°C", "m": "m", "s": "s", "h": "h",
}  # fmt: skip
"""Ending of a name to its unit; the longest that fits holds."""

SOURCES = {
    "signature_delay_ns": "ITU-R F.1093 (from memory)",
    "canceller_improvement_db": "ITU-R P.530, 4.2.2",
    "multipath_edition": "ITU-R P.530-17",
    "year_to_year_ratio": "ITU-R P.678-3: our own fit to its map, within a third",
    "rain_rate_001_mm_h": "ITU-R P.837-7",
    "monthly_rainfall_mm": "ITU-R P.837-7",
    "monthly_temperature_c": "ITU-R P.1510-1",
    "refractivity_gradient": "ITU-R P.453",
    "terrain_roughness_m": "ITU-R P.530-17",
    "rain_height_m": "ITU-R P.839-4",
    "storm_speed_km_h": "calibrated (experiments/rain_calibration); trades: common practice",
    "storm_bearing_deg": "Peixoto, Oort 1992 (from memory): westerlies and trades by latitude and month",
    "shower_daily_amplitude": "Dai 2001; Dai, Lin, Hsu 2007; over latitude and season: common practice",
    "shower_peak_hour": "Zhou et al. 2008: 15 to 19 h over land, 4 to 6 h over sea",
    "availability_objective": "ITU-R F.1703 (from memory)",
    "severely_errored_ratio_objective": "ITU-R F.1668 (from memory)",
    "geoclimatic_factor": "ITU-R P.530-17, 2.3.1",
    "rain_exceedance_db": "ITU-R P.530-18, 2.4.1",
}
"""Field to the source of its default, where that is not common practice without a source."""

PRACTICE = "common practice, no source"


def unit_of(field: str) -> str:
    """Unit in which a field stands, by the ending of its name; empty for text, numbers and shares."""
    ending = max((end for end in UNITS if field.endswith(f"_{end}")), key=len, default="")
    return "N-units/km" if field == "refractivity_gradient" else UNITS.get(ending, "")


def source_of(field: str, default: object) -> str:
    """Source of a field's default; empty for what is no figure, and for a default of none or nought."""
    figure = bool(default) and not isinstance(default, str | bool | dict)
    return SOURCES.get(field, PRACTICE if figure else "")
