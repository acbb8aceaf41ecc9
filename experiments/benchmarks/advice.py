"""Processor time of advice: a grown network of 40 hops, 60 candidates. Invented.

    python -m experiments.benchmarks.advice [--years 100]

The baseline of the same run is one plan simulated for as many years: advice costs so many plans. All is done
in one process, whose processor time a busy machine leaves about as it is; two processors share the blocks
and have ten minutes: the limit.
"""

import argparse
import sys
import tempfile
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np

from experiments.benchmarks.grown_network import grow
from hopyears.sim.advice.advise import OPTIONS, advise
from hopyears.sim.advice.candidates import made_candidates
from hopyears.sim.advice.confirm import Goal
from hopyears.sim.advice.market import priced
from hopyears.sim.inputs.input_errors import FaultList
from hopyears.sim.inputs.network_build import build_network
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.money.network_costs import terms_of
from hopyears.sim.runs.simulate import RunRequest, simulate

KM_PER_DEG = 111.19
LIMIT_S = 1200.0
"""Two processors for ten minutes."""

HOPS, CANDIDATES, SERVICES, BUDGET = 40, 60, 20, 300_000.0
ONCE = {
    "outdoor_radio": 21e3, "antenna_single_polarised": 6e3, "hybrid_coupler": 3e3, "cable": 1.4e3,
    "modem_port": 0.0, "modem_card": 11e3, "controller": 7e3, "battery_hour": 4.5e3, "generator": 95e3,
    "indoor_unit": 18e3,
}  # fmt: skip


def network() -> dict[str, Any]:
    """The network as plain data: twenty far sites have a service to the first one."""
    grown = grow(HOPS, 120.0, 80.0)
    east, north = grown.sites_km.T
    latitude = 45.0 + north / KM_PER_DEG
    longitude = 11.0 + east / KM_PER_DEG / np.cos(np.radians(latitude))
    places = [*zip(latitude.tolist(), longitude.tolist(), strict=True)]
    far = np.argsort(-np.hypot(east, north))[:SERVICES]
    return {
        "title": "forty hops",
        "sites": [{"id": f"s{i}", "latitude_deg": a, "longitude_deg": o} for i, (a, o) in enumerate(places)],
        "radios": [{"id": "radio"}],
        "antennas": [{"id": "dish-06", "diameter_m": 0.6}, {"id": "dish-12", "diameter_m": 1.2}],
        "hops": [
            {"id": f"h{i}", "from": f"s{a}", "to": f"s{b}", "frequency_ghz": float(f), "radio": "radio",
             "antenna": "dish-12" if f < 16 else "dish-06"}
            for i, ((a, b), f) in enumerate(zip(grown.hops, grown.frequency_ghz, strict=True))
        ],
        "services": [
            {"id": f"to-{s}", "from": f"s{s}", "to": "s0", "committed_mbit_s": 20.0, "protection": "rerouted"}
            for s in far
        ],
        "crews": [{"id": "crew", "base": "s0", "teams": 2}],
        "prices": {"life_years": 10.0, "discount_rate": 0.06, "once": ONCE},
    }  # fmt: skip


def main() -> int:
    """Run both and compare."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--years", type=int, default=100)
    parser.add_argument("--block-years", type=int, default=10)
    options = parser.parse_args()
    data = network()
    source = NetworkSource(build_network(data, "grown", {}, FaultList(), {}), "grown", (), data)
    terms = terms_of(source.network)
    every = [] if terms is None else priced(source, made_candidates(source.network), terms).candidates
    some = [every[i] for i in np.linspace(0, len(every) - 1, CANDIDATES).astype(int)]
    request = RunRequest(options.years, 1, options.block_years, options=OPTIONS)
    with tempfile.TemporaryDirectory() as folder:
        began = process_time()
        simulate(source, request, Path(folder) / "advice" / "base")
        base_s = process_time() - began
        print(f"one plan, {options.years} years: {base_s:.0f} s of a processor", flush=True)
        marks = [("start", process_time())]

        def tell(text: str) -> None:
            marks.append((text, process_time()))
            print(f"{marks[-1][1] - marks[0][1]:7.0f} s  {text}", flush=True)

        found = advise(
            source, Goal(budget=BUDGET), request, Path(folder) / "advice", named=some, made=False, tell=tell
        )
        advice_s = process_time() - marks[0][1]
    print(f"advice: {advice_s:.0f} s, as much as {advice_s / base_s:.1f} plans")
    print(found.purchases[["step", "bought", "spent", "left", "next_best", "right_chance"]].to_string())
    print(f"all: {process_time():.0f} s; at most {LIMIT_S:.0f} s")
    return int(process_time() > LIMIT_S)


if __name__ == "__main__":
    sys.exit(main())
