"""Results made up to the schema of the tables, for tests of whatever reads results. No simulation."""

from itertools import product
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from hopyears.models.judging.objectives import AVAILABILITY_SOURCE, SEVERELY_ERRORED_SOURCE, STATED
from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.runs.results import Results

SITES = {
    "alder": (0.0, 0.0),
    "birch": (12.0, 3.0),
    "cedar": (9.0, 14.0),
    "elm": (-11.0, 8.0),
    "fir": (-40.0, 2.0),
}
"""Name to east and north [km]."""

HOPS = (
    ("alder-birch", "alder", "birch", "1+1 HSB"),
    ("birch-cedar", "birch", "cedar", "2+0 XPIC"),
    ("cedar-alder", "cedar", "alder", "1+1 SD"),
    ("cedar-alder-2", "alder", "cedar", "1+0"),
    ("alder-elm", "alder", "elm", "1+0"),
    ("elm-fir", "elm", "fir", "1+1 FD"),
)
SERVICES = (("birch-fir", "birch", "fir"), ("cedar-alder", "cedar", "alder"), ("elm-alder", "elm", "alder"))
CAUSES = ("rain", "dispersion + multipath", "outdoor radio", "power", "power + rain", "congestion")
PRICES = {"currency": "shells", "life_years": 10.0, "discount_rate": 0.0, "once": {}, "yearly": {}}
SERVICE_MINUTES = (240.0, 31.0, 0.0)
"""The last service has nothing seen."""


def made_up_results(
    title: str = "Five sites", rename: dict[str, str] | None = None, **manifest: Any
) -> Results:
    """Results of a made-up run.

    Parameters
    ----------
    title : str
        Title of the network.
    rename : dict, optional
        Names of services, hops or sites to others.
    **manifest
        Entries laid over the manifest.
    """
    tables = {
        "services": _services(),
        "service_causes": _causes("service", [s[0] for s in SERVICES], SERVICE_MINUTES),
        "service_months": _months(),
        "longest_outages": _longest(),
        "service_throughput": _curves("service", "rate_mbit_s", [s[0] for s in SERVICES]),
        "service_objectives": _objectives(),
        "service_years": _years(),
        "service_targets": _targets(),
        "service_directions": _directions(),
        "textbook_distance": _distance(),
        "service_undelivered": _undelivered_of_services(),
        "priority_undelivered": _undelivered(),
        "hops": _hops(),
        "hop_causes": _causes("hop", [h[0] for h in HOPS], _hop_minutes()),
        "hop_modulations": _modulations(),
        "hop_capacity": _curves("hop", "capacity_mbit_s", [h[0] for h in HOPS]),
        "sites": _sites(),
        "part_failures": _failures(),
        "site_failures": _site_failures(),
        "crew_visits": _crew_visits(),
        "costs": _costs(),
        "service_money": _service_money(),
    }
    for old, new in (rename or {}).items():
        tables = {name: table.replace(old, new) for name, table in tables.items()}
    content = {
        "identity": "0123456789abcdef01234567",
        "title": title,
        "network_file": "network.toml",
        "seed": 7,
        "block_years": 10,
        "blocks": 20,
        "years": 200,
        "options": {"rain": True, "multipath": True, "failures": True, "anchoring": True, "queues": False},
        "versions": {"hopyears": "0.1.0", "numpy": "2.3.0"},
        "warnings": ['network.toml: hop "elm-fir": path is long for its band'],
        "command": "hopyears simulate network.toml --years 200 --seed 7 --out run",
        "caution": "Figures are estimates for planning. Emergency services come first.",
    }
    return Results(
        MappingProxyType(content | manifest),
        MappingProxyType({"title": title, "prices": PRICES}),
        MappingProxyType(tables),
    )


def _with_interval(name: str, value: float, bound: float) -> dict[str, float]:
    if value == 0.0:
        return {name: 0.0, f"{name}_low": 0.0, f"{name}_high": bound}
    return {name: value, f"{name}_low": 0.8 * value, f"{name}_high": 1.3 * value}


def _availability(name: str, minutes: float, bound: float) -> dict[str, float]:
    found = _with_interval("lost", minutes, bound)
    lost = {"": "lost", "_low": "lost_high", "_high": "lost_low"}
    return {f"{name}{end}": 1.0 - found[other] / 525_960.0 for end, other in lost.items()}


def _services() -> pd.DataFrame:
    rows = []
    for i, ((service, start, end), minutes) in enumerate(zip(SERVICES, SERVICE_MINUTES, strict=True)):
        rows.append(
            {
                "service": service,
                "from": start,
                "to": end,
                "committed_mbit_s": 50.0 + 25.0 * i,
                "committed_backward_mbit_s": 50.0 + 20.0 * i,
                "peak_mbit_s": 200.0,
                "peak_backward_mbit_s": 200.0,
                "priority": i + 1,
                "protection": "protected",
                "hops": 3 - i,
                **_with_interval("unavailable_min_per_year", minutes, 0.7),
                **_availability("availability", minutes, 0.7),
                **_with_interval("severely_errored_s_per_year", 12.0 * minutes / 240.0, 2.0),
                "planned_min_per_year": 0.1 * minutes,
                **_with_interval("below_committed_min_per_year", 2.0 * minutes, 0.7),
                "errored_s_per_year": 15.0 * minutes,
                **_with_interval("outages_per_year", minutes / 8.0, 0.02),
                "mean_outage_s": 480.0 if minutes else np.nan,
                "longest_outage_s": 40_000.0 if minutes else np.nan,
                **_with_interval("worst_month_unavailable_min", minutes / 3.0, 0.7),
                "forward_unavailable_min_per_year": 0.7 * minutes,
                "backward_unavailable_min_per_year": 0.6 * minutes,
                "mean_throughput_mbit_s": 199.7,
                "throughput_99_mbit_s": 200.0,
                "throughput_99_9_mbit_s": 180.0,
                "throughput_99_99_mbit_s": 60.0,
                "throughput_99_999_mbit_s": 0.0,
                "textbook_min_per_year": 1.4 * minutes + 3.0,
            }
        )
    return pd.DataFrame(rows)


def _hop_minutes() -> list[float]:
    return [0.0 if i == 2 else 4.0 * 2.5**i for i in range(len(HOPS))]


def _hops() -> pd.DataFrame:
    rows = []
    for (hop, start, end, scheme), minutes in zip(HOPS, _hop_minutes(), strict=True):
        rows.append(
            {
                "hop": hop,
                "from": start,
                "to": end,
                "scheme": scheme,
                "length_km": float(np.hypot(*np.subtract(SITES[start], SITES[end]))),
                "frequency_ghz": 18.0,
                "capacity_mbit_s": 366.0,
                **_with_interval("unavailable_min_per_year", minutes, 0.9),
                **_availability("availability", minutes, 0.9),
                **_with_interval("severely_errored_s_per_year", 3.0, 2.0),
                **_with_interval("outages_per_year", minutes / 9.0, 0.02),
                "mean_outage_s": 540.0 if minutes else 0.0,
                "longest_outage_s": 9000.0 if minutes else 0.0,
                "mean_capacity_mbit_s": 365.2,
                "capacity_99_mbit_s": 366.0,
                "capacity_99_9_mbit_s": 366.0,
                "capacity_99_99_mbit_s": 180.0,
                "capacity_99_999_mbit_s": 0.0,
                "textbook_min_per_year": 0.9 * minutes + 1.0,
            }
        )
    return pd.DataFrame(rows)


def _causes(name: str, ids: list[str], minutes: Any) -> pd.DataFrame:
    parts = np.array([0.5, 0.2, 0.12, 0.1, 0.05, 0.03])
    rows = []
    for each, total in zip(ids, minutes, strict=True):
        for cause, part in zip(CAUSES, parts, strict=True):
            row = {name: each, "cause": cause, "unavailable_min_per_year": total * part}
            if name == "hop":
                row |= {"seconds_per_year": 70.0 * total * part}
            else:
                row |= {"severely_errored_s_per_year": 0.05 * total * part, "share": part if total else 0.0}
            rows.append(row)
    return pd.DataFrame(rows)


def _objectives() -> pd.DataFrame:
    """The first service states its availability, the last its outages a year."""
    rows = []
    for i, (service, minutes) in enumerate(zip(SERVICES, SERVICE_MINUTES, strict=True)):
        allowed_min, stated = (52.596, True) if i == 0 else (210.384, False)
        row = {
            "service": service[0],
            "length_km": 45.0,
            "portion": "national short haul",
            "availability_objective": 1.0 - allowed_min / 525_960.0,
            "allowed_min_per_year": allowed_min,
            **_with_interval("unavailable_min_per_year", minutes, 0.7),
            "availability_met": minutes < allowed_min,
            "availability_met_confidence": 0.02 if minutes > allowed_min else 0.9995,
            "availability_source": STATED if stated else AVAILABILITY_SOURCE,
            **_with_interval("below_committed_min_per_year", 3.0, 0.7),
            "severely_errored_ratio_objective": 1.6e-4,
            **_with_interval("severely_errored_ratio", 3e-7, 1e-7),
            "severely_errored_met": True,
            "severely_errored_met_confidence": 0.97,
            "severely_errored_source": SEVERELY_ERRORED_SOURCE,
            "outages_per_year_objective": 0.04 if i == 2 else np.nan,
            **_with_interval("outages_per_year", minutes / 8.0, 0.02),
            "outages_met": True if i == 2 else None,
            "outages_met_confidence": 0.993 if i == 2 else np.nan,
            "outages_source": STATED if i == 2 else "",
        }
        rows.append(row)
    return pd.DataFrame(rows).astype({"outages_met": "boolean"})


def _years() -> pd.DataFrame:
    rows = [
        {
            "service": service[0],
            "share_of_years": share,
            **_with_interval("unavailable_min", minutes * share, 0.7),
        }
        for (service, minutes), share in product(
            zip(SERVICES, SERVICE_MINUTES, strict=True), (0.5, 0.9, 0.99)
        )
    ]
    table = pd.DataFrame(rows)
    table.loc[table["share_of_years"] == 0.99, "unavailable_min_high"] = np.inf
    return table


def _targets() -> pd.DataFrame:
    rows = [
        {
            "service": service[0],
            "availability": level,
            "target_min_per_year": (1.0 - level) * 525_960.0,
            **_with_interval("year_break_chance", chance if minutes else 0.0, 0.018),
        }
        for (service, minutes), (level, chance) in product(
            zip(SERVICES, SERVICE_MINUTES, strict=True), ((0.999, 0.02), (0.9999, 0.61))
        )
    ]
    return pd.DataFrame(rows)


def _directions() -> pd.DataFrame:
    rows = []
    for service, minutes in zip(SERVICES, SERVICE_MINUTES, strict=True):
        for way, part in (("forward", 0.7), ("backward", 0.6), ("both", 1.0)):
            row = {"service": service[0], "direction": way, "errored_s_per_year": 15.0 * part * minutes}
            row |= _availability("availability_ratio", minutes * part, 0.7)
            row |= _with_interval("severely_errored_ratio", 3e-7 * part * minutes, 1e-7)
            row |= _with_interval("unavailable_min_per_year", part * minutes, 0.7)
            row |= _with_interval("below_committed_min_per_year", 2.0 * part * minutes, 0.7)
            row |= _with_interval("outages_per_year", part * minutes / 8.0, 0.02)
            row |= _with_interval("severely_errored_s_per_year", 0.05 * part * minutes, 2.0)
            hours = 8766.0 / (minutes / 8.0) if minutes else np.inf
            row |= {
                "mean_time_between_outages_h": hours,
                "mean_time_to_restore_s": 480.0 if minutes else np.nan,
            }
            row |= {"mean_time_between_outages_h_low": 0.8 * hours if minutes else 480_000.0}
            row |= {"mean_time_between_outages_h_high": 1.3 * hours}
            rows.append(row)
    return pd.DataFrame(rows)


def _distance() -> pd.DataFrame:
    rows = []
    for service, minutes in zip(SERVICES, SERVICE_MINUTES, strict=True):
        told = 1.4 * minutes + 3.0
        steps = {"textbook sum": told, "other routes": minutes - told - 2.0, "storms and nights": 2.0}
        for step, value in {**steps, "simulated": minutes}.items():
            margin = 0.0 if step == "textbook sum" else 1.5
            ends = {"min_per_year_low": value - margin, "min_per_year_high": value + margin}
            rows.append({"service": service[0], "step": step, "min_per_year": value, **ends})
    return pd.DataFrame(rows)


def _undelivered() -> pd.DataFrame:
    rows = []
    for priority, peak in ((1, 4000.0), (2, 900.0)):
        for cause, part in (("all", 1.0), ("congestion", 0.75), ("rain", 0.15), ("power", 0.1)):
            row = {
                "priority": priority,
                "cause": cause,
                "share": 0.02 * part,
                "committed_share": 0.001 * part,
            }
            row |= _with_interval("undelivered_mbit_per_year", peak * part, 1.0)
            committed = 0.0 if cause == "congestion" else 100.0 * part
            row |= _with_interval("undelivered_committed_mbit_per_year", committed, 1.0)
            rows.append(row)
    return pd.DataFrame(rows)


def _undelivered_of_services() -> pd.DataFrame:
    rows = [
        {
            "service": service[0],
            "direction": direction,
            "cause": "rain",
            "undelivered_mbit_per_year": 60.0 * minutes * 100.0,
            "undelivered_committed_mbit_per_year": 60.0 * minutes * 20.0,
            "below_committed_min_per_year": 2.0 * minutes,
            "hours_per_year": minutes / 60.0,
            "share": 1.0,
        }
        for service, minutes in zip(SERVICES, SERVICE_MINUTES, strict=True)
        for direction in ("forward", "backward")
    ]
    return pd.DataFrame(rows)


def _months() -> pd.DataFrame:
    season = np.array([1, 1, 2, 3, 6, 10, 14, 12, 6, 3, 1, 1]) / 60.0
    rows = [
        {"service": service[0], "month": month + 1, "unavailable_min_per_year": minutes * season[month]}
        | {"outages_weighed": round(20 * minutes / 240.0 * 60 * season[month] / 14)}
        for (service, minutes), month in product(zip(SERVICES, SERVICE_MINUTES, strict=True), range(12))
    ]
    return pd.DataFrame(rows)


def _longest() -> pd.DataFrame:
    """The second outage of one service is the first of the other: one failure stopped both."""
    rows = [
        ("birch-fir", 1, "year 31, 4 Aug 15:20:00", 40_000, "rain", 3, 18_700_000),
        ("birch-fir", 2, "year 112, 9 Jan 03:00:01", 9_000, "outdoor radio", 11, 800_000),
        ("cedar-alder", 1, "year 112, 9 Jan 03:00:02", 8_990, "outdoor radio", 11, 800_001),
        ("cedar-alder", 2, "year 7, 2 Dec 23:59:59", 600, "power + rain", 0, 218_000_000),
    ]
    columns = ["service", "number", "began", "duration_s", "cause", "block", "start_s"]
    return pd.DataFrame(rows, columns=columns)


def _curves(name: str, rate: str, ids: list[str]) -> pd.DataFrame:
    exceeded = {0.0: 1.0, 50.0: 0.99995, 100.0: 0.9998, 150.0: 0.9991, 200.0: 0.996}
    rows = [
        {name: each, "direction": direction, rate: value, "exceeded_share": share}
        for each, direction, (value, share) in product(ids, ("forward", "backward"), exceeded.items())
    ]
    return pd.DataFrame(rows)


def _modulations() -> pd.DataFrame:
    shares = {0: 0.0002, 4: 0.0008, 16: 0.001, 256: 0.008, 1024: 0.99}
    rows = [
        {"hop": hop[0], "direction": direction, "states": states, "share": share}
        for hop, direction, (states, share) in product(HOPS, ("forward", "backward"), shares.items())
    ]
    return pd.DataFrame(rows)


def _sites() -> pd.DataFrame:
    rows = [
        {
            "site": site,
            "latitude_deg": 45.0 + north / 111.0,
            "longitude_deg": 11.0 + east / 79.0,
            "east_km": east,
            "north_km": north,
        }
        for site, (east, north) in SITES.items()
    ]
    return pd.DataFrame(rows)


def _failures() -> pd.DataFrame:
    columns = [f"{phase.replace(' ', '_')}_h_per_year" for phase in PHASES]
    rows = [
        {"kind": kind, "failures_per_year": rate, "latent_per_year": 0.1 * rate, "struck_per_year": 0.0}
        | {
            column: rate * hours
            for column, hours in zip(columns, (0.5, 2.0, 1.5, 1.0, 0.8, 2.0), strict=True)
        }
        for kind, rate in (("outdoor_radio", 0.4), ("modem_card", 0.15), ("mast", 0.01))
    ]
    return pd.DataFrame(rows).assign(outage_min_per_year=[30.0, 6.0, 9.0], outage_share=[0.1, 0.02, 0.03])


def _site_failures() -> pd.DataFrame:
    columns = [f"{phase.replace(' ', '_')}_h_per_year" for phase in PHASES]
    counts = {
        "failures_per_year": 0.3,
        "mains_lost_per_year": 1.5,
        "mains_lost_h_per_year": 1.4,
        "dark_per_year": 0.1,
        "dark_h_per_year": 0.4,
        "maintenance_h_per_year": 2.0,
    }
    rows = [
        {
            "site": site,
            **counts,
            **dict.fromkeys(columns, 0.25),
            "outage_min_per_year": 12.0,
            "outage_share": 0.04,
        }
        for site in SITES
    ]
    return pd.DataFrame(rows)


def _crew_visits() -> pd.DataFrame:
    columns = [f"{phase.replace(' ', '_')}_h_per_year" for phase in PHASES]
    counts = {"visits_per_year": 0.5, "planned_per_year": 2.0, "planned_h_per_year": 9.0}
    row = {"crew": "south 1", **counts, **dict.fromkeys(columns, 0.5), "outage_min_per_year": 24.0}
    return pd.DataFrame([{**row, "outage_share": 0.0812}])


def _costs() -> pd.DataFrame:
    nan = float("nan")
    rows = [
        ("alder-birch/alder", "outdoor_radio", "r18/18GHz", 2.0, 100.0, nan, 200.0, 0.0, 200.0),
        ("alder-birch", "licence", "56MHz/18GHz", 1.0, nan, 30.0, 0.0, 30.0, 300.0),
        ("alder-birch/alder", "cable", "r18/18GHz", 2.0, nan, nan, nan, nan, nan),
    ]
    names = ["place", "item", "type", "count", "once_each", "yearly_each", "capital", "yearly", "present"]
    return pd.DataFrame(rows, columns=names)


def _service_money() -> pd.DataFrame:
    row = {
        "service": SERVICES[0][0],
        **_with_interval("penalty_per_year", 40.0, 1.0),
        "penalty_bad_year": 100.0,
        **_with_interval("undelivered_gbit_per_year", 8.0, 1.0),
        **_with_interval("undelivered_value_per_year", 24.0, 1.0),
    }
    return pd.DataFrame([row])
