"""How cost grows with hops, services, years, area and climate: whole runs of a grown network, one at a time.

    python -m experiments.benchmarks.growth [--only NAME ...] [--largest N] [--minutes M] [--plain]
        [--out FOLDER]

Question: what processor time and memory does ``hopyears simulate`` take, in one process, when one thing grows
and the rest stays: hops (at 37.5 km2 a hop, with three services on four hops), services, years, the area of
the same number of hops, or another climate? Each run is made twice: *cold* fits what the caches lack, *warm*
finds it there. Baselines in the same run: the log-normal AR(1) of rain alone and every cell at every ten
seconds, both of ``rain.py``, for one hop-year. Prints a table with the power of growth from one point to the
next and writes it with a picture; fails where a run fails. The smallest runs come first. What the folder
holds is not measured again: called once more, it goes on where the minutes of processor time had ended.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd

from experiments.benchmarks import rain
from experiments.benchmarks.grown_network import CENTRE_DEG, grow, network_file
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.streams import Streams

KM2_PER_HOP, SERVICES_PER_HOP = 37.5, 0.75
COSTS = ("cold_s", "warm_s", "mib")

PLACES = {
    "wet, cool coast": (60.4, 5.3),
    "temperate": CENTRE_DEG,
    "desert": (24.0, 45.0),
    "equatorial": (1.4, 103.8),
}
"""Latitude and longitude of the first site in each climate [degrees]."""


def side_km(hops: float) -> float:
    """Side of the square of so many hops [km]."""
    return float(np.sqrt(KM2_PER_HOP * hops))


@dataclass(frozen=True)
class Case:
    """A run: hops and services in a square, years, place."""

    hops: int = 200
    services: int = 150
    years: int = 10
    side_km: float = side_km(200)
    place: str = "temperate"


SERIES: dict[str, dict[float, Case]] = {
    "hops": {
        n: Case(n, round(SERVICES_PER_HOP * n), side_km=side_km(n))
        for n in (20, 50, 100, 200, 500, 2000, 5000)
    },
    "services": {n: Case(services=n) for n in (15, 50, 150, 500, 1500)},
    "years": {n: Case(20, 15, n, side_km(20)) for n in (10, 30, 100, 300, 1000, 10_000)},
    "area": {
        side**2: Case(side_km=side) for side in (side_km(50), side_km(200), side_km(800), side_km(3200))
    },
    "climate": {number: Case(place=name) for number, name in enumerate(PLACES)},
}
"""By name: what varies and the run of each of its values."""


def main(arguments: list[str] | None = None) -> int:
    """Run the series and print, store and plot what they cost."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", nargs="+", choices=SERIES, default=list(SERIES))
    parser.add_argument("--largest", type=int, default=2000, help="most hop-decades of a run (default 2000)")
    parser.add_argument(
        "--minutes", type=float, default=20.0, help="of processor time, then stop (default 20)"
    )
    parser.add_argument("--plain", action="store_true", help="without replications of failures")
    parser.add_argument("--out", type=Path, default=Path("runs/growth"))
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    extra = ("--replications", "0") if options.plain else ()
    cases = {case for name in options.only for case in SERIES[name].values()}
    found = all_measured(cases, options, options.out / "measured.csv", extra)
    table = growth(
        [
            {"series": name, "value": value, **asdict(case), **found[case]}
            for name in options.only
            for value, case in SERIES[name].items()
            if case in found
        ]
    )
    table.to_csv(options.out / "growth.csv", index=False)
    print(baselines())
    print(table.drop(columns=["side_km"]).to_string(index=False))
    _plot(table, options.out / "growth.png")
    return 0


def all_measured(
    cases: Iterable[Case], options: argparse.Namespace, file: Path, extra: Sequence[str]
) -> dict[Case, dict[str, float]]:
    """What each case costs, kept in a file; without those too large or that no time was left for."""
    known = (
        pd.read_csv(file, dtype=str).to_dict("records") if file.exists() else []
    )  # numbers to the last bit
    kinds = {field.name: type(field.default) for field in fields(Case)}
    found = {
        Case(*(kind(row[name]) for name, kind in kinds.items())): {key: float(row[key]) for key in COSTS}
        for row in known
    }
    began = os.times()
    for case in sorted(cases, key=lambda case: case.hops * case.years * case.services):
        now = os.times()
        spent_s = now.children_user + now.children_system - began.children_user - began.children_system
        if case in found or case.hops * case.years > 10 * options.largest:
            continue
        if spent_s > 60.0 * options.minutes:
            print(f"no time was left for {case}", file=sys.stderr)
            continue
        if not spent_s:
            measured(Case(20, 15, 1, side_km(20)), extra)  # loops are compiled before any is measured
        found[case] = measured(case, extra)
        pd.DataFrame([{**asdict(each), **cost} for each, cost in found.items()]).to_csv(file, index=False)
    return found


def measured(case: Case, extra: Sequence[str]) -> dict[str, float]:
    """Processor time [s] and memory [MiB] of the case's run, cold and warm."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        grown = grow(case.hops, case.side_km, case.side_km)
        (folder / "network.toml").write_text(
            network_file(grown, case.services, centre_deg=PLACES[case.place])
        )
        found: dict[str, float] = {}
        for state in ("cold", "warm"):
            command = [
                *(str(Path(sys.executable).with_name("hopyears")), "simulate", str(folder / "network.toml")),
                *("--workers", "1", "--years", str(case.years), "--out", str(folder / state), *extra),
            ]
            environment = {**os.environ, "HOPYEARS_CACHE": str(folder / "cache")}
            process = subprocess.Popen(
                command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment
            )
            _, status, usage = os.wait4(process.pid, 0)
            if status:
                raise SystemExit(f"the run of {case} failed")
            found[f"{state}_s"] = usage.ru_utime + usage.ru_stime
            found["mib"] = usage.ru_maxrss / 1024.0
        return found


def growth(rows: list[dict[str, object]]) -> pd.DataFrame:
    """The rows with the time of a hop-year and the power of growth since the row before of the series."""
    found = pd.DataFrame(rows)
    found["ms_per_hop_year"] = 1e3 * found["warm_s"] / found["hops"] / found["years"]
    steps = np.log(found[["warm_s", "value"]].where(found["value"] > 0.0)).groupby(found["series"]).diff()
    found["power"] = (steps["warm_s"] / steps["value"]).where(found["series"] != "climate")
    return found.round({"cold_s": 1, "warm_s": 1, "mib": 0, "ms_per_hop_year": 2, "power": 2})


def baselines() -> str:
    """Both baselines for one hop-year of rain alone."""
    network, law = grow(rain.N_HOPS, rain.WIDTH_KM, rain.HEIGHT_KM), rain.CLIMATES["temperate"]
    hops = rain.lines(network)
    rain.compile_all(law, network, hops)
    region = Region.around(network.sites_km[:, 0], network.sites_km[:, 1])
    field = draw_storms(Streams(1, 0), law, region, n_years=1)
    stepped, series = rain.stepped_ms(field, hops), rain.autoregressive_ms()
    return (
        f"rain alone, a hop-year: every cell every {rain.STEP_S:g} s {stepped:,.0f} ms; "
        f"log-normal AR(1) {series:,.0f} ms"
    )


def _plot(found: pd.DataFrame, file: Path) -> None:
    import matplotlib.pyplot as plt
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    names = list(dict.fromkeys(found["series"]))
    figure, axes = plt.subplots(1, len(names), figsize=(3.6 * len(names), 3.4), squeeze=False, sharey=True)
    units = {"area": "area [km²]", "climate": ""}
    for axis, name in zip(axes[0], names, strict=True):
        rows = found[found["series"] == name]
        at = rows["place"] if name == "climate" else rows["value"]
        for column, label in (("cold_s", "cold"), ("warm_s", "warm")):
            axis.plot(at, rows[column], "o-", label=label)
        axis.set(yscale="log", xlabel=units.get(name, name))
        axis.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.yaxis.set_minor_formatter(NullFormatter())
        axis.yaxis.set_major_formatter(StrMethodFormatter("{x:,g}"))
        if name != "climate":
            axis.set_xscale("log")
            axis.set_xticks(at, [f"{value:,.0f}" for value in at])
            axis.xaxis.set_minor_formatter(NullFormatter())
        axis.tick_params(axis="x", labelrotation=40)
        axis.grid(alpha=0.3)
    axes[0][0].set_ylabel("processor time [s]")
    axes[0][0].legend()
    figure.tight_layout()
    figure.savefig(file, dpi=120)


if __name__ == "__main__":
    sys.exit(main())
