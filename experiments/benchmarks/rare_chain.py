"""Years that a chain of four hops at five nines each takes to +-10 %: plain, and with the run's own control.

    python -m experiments.benchmarks.rare_chain [YEARS [PLAIN_YEARS]]

The whole simulator runs: rain, multipath, failures with crews, power. Each hop with its ends loses about five
minutes a year by the standards, a quarter of them to rain; antennas, masts and lightning do the rest, in
rare outages of hours. A long plain run gives the spread of its blocks, hence the years that plain sampling
takes to a 95 % interval of +-10 %; a run of far fewer years with ``--control`` and ``--raise`` must get
there. Prints both and fails if the saving is below 10, the short run misses +-10 %, or its mean is more than
4 standard errors off that of the plain run (other blocks).
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from models.network import Antenna, Crew, Hop, Network, PartChange, Power, Radio, Service, Site
from sim.blocks.prepared import ModelOptions, prepare
from sim.inputs.network_file import NetworkSource
from sim.runs.control import ControlBlocks, controlled, rain_control
from sim.runs.simulate import RunRequest, simulate
from sim.runs.store import RunFolder
from sim.textbook.predict import predict_services

N_HOPS = 4
LEAST_SAVING, WANTED = 10.0, 0.1
CONTROL, RAISED = 80, 10.0
SEED, PLAIN_SEED = 1, 2
SITE_PARTS = ("chassis", "fan", "mast", "software", "power_distribution", "rectifier")


def chain() -> NetworkSource:
    """Four hops of 9.5 km at 15 GHz in hot standby; sites built so well that the hops decide."""
    sites = tuple(
        Site(
            id=f"s{i}",
            latitude_deg=45.0 + 0.01 * (i % 2),
            longitude_deg=11.0 + 0.12 * i,
            power="strong",
            duplicated_controller=True,
        )
        for i in range(N_HOPS + 1)
    )
    hops = tuple(
        Hop(
            id=f"h{i}", site_a=f"s{i}", site_b=f"s{i + 1}", frequency_ghz=15.0, scheme="1+1 HSB",
            radio="radio", antenna="dish",
        )
        for i in range(N_HOPS)
    )  # fmt: skip
    network = Network(
        title="chain of four hops at five nines each",
        sites=sites,
        hops=hops,
        radios=(Radio(id="radio", transmit_power_dbm=20.0),),
        antennas=(Antenna(id="dish", diameter_m=0.6),),
        services=(Service(id="end-to-end", site_a="s0", site_b=f"s{N_HOPS}", committed_mbit_s=30.0),),
        parts=(
            *(PartChange(kind=kind, mtbf_h=2e7) for kind in (*SITE_PARTS, "line_card", "antenna")),
            PartChange(kind="coupler", mtbf_h=1e8),
        ),
        power=(Power(id="strong", battery_h=48.0),),
        crews=(Crew(id="crew", base="s2"),),
    )
    raw = network.model_dump(mode="json", by_alias=True, exclude_none=True)
    return NetworkSource(network, "chain", (), raw)


def run(folder: Path, years: int, seed: int, options: ModelOptions) -> tuple[RunFolder, float]:
    """A run of the chain and the seconds that it took."""
    started = time.perf_counter()
    request = RunRequest(years=years, seed=seed, block_years=10, workers=2, options=options)
    return simulate(chain(), request, folder), time.perf_counter() - started


def years_needed(half_width: float, mean: float, years: float) -> float:
    """Years for a half-width of a tenth of the mean, from the half-width after some years."""
    return years * (half_width / (WANTED * mean)) ** 2


def main(arguments: list[str]) -> int:
    """Compare both ways."""
    years = int(arguments[0]) if arguments else 400
    plain_years = int(arguments[1]) if len(arguments) > 1 else 3000
    surer = ModelOptions(control=CONTROL, raised=RAISED)
    prepared = prepare(chain().network, surer)
    textbook = float(predict_services(prepared)["total_min_per_year"].iloc[0])
    rain = rain_control(prepared)
    with tempfile.TemporaryDirectory() as folder:
        few, few_s = run(Path(folder) / "few", years, SEED, surer)
        many, many_s = run(Path(folder) / "many", plain_years, PLAIN_SEED, ModelOptions())
        found = controlled(ControlBlocks.read(prepared, rain, few), rain, 0)
        assert found is not None  # the run has enough blocks
        blocks = ControlBlocks.read(prepared, rain, many).unavailable_s[:, 0]
    plain, error = float(blocks.mean()), float(blocks.std(ddof=1) / np.sqrt(blocks.size))
    needed = years_needed(1.96 * error, plain, plain_years)
    got = found.interval.half_width / found.interval.best
    apart = (found.interval.best - plain) / np.hypot(error, found.interval.half_width / 2.0)
    print(f"textbook sum {textbook:7.2f} min/year")
    width = 1.96 * error / plain
    print(f"plain        {plain / 60:7.2f} min/year +-{width:.1%} in {plain_years} years ({many_s:.0f} s)")
    print(f"             +-{WANTED:.0%} takes {needed:.0f} years")
    best = found.interval.best / 60
    print(f"controlled   {best:7.2f} min/year +-{got:.1%} in {years} years ({few_s:.0f} s)")
    mean, chance = rain.mean_s[0] / 60, rain.error_s[0] / 60
    print(f"rain alone   {mean:7.2f} +- {chance:.2f} min/year, from snapshots")
    print(f"saving {needed / years:.1f} times; means {apart:+.1f} standard errors apart")
    return int(needed / years < LEAST_SAVING or got > WANTED or abs(apart) > 4.0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
