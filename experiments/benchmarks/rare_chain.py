"""Time that a chain of four hops at five nines each takes to +-10 %: plain, and with replications.

    python -m experiments.benchmarks.rare_chain [YEARS [PLAIN_YEARS]]

The whole simulator runs: rain, multipath, failures with crews, power. Each hop with its ends loses about five
minutes a year by the standards, a quarter of them to rain; antennas, masts and lightning do the rest, in rare
outages of hours. A long plain run gives the spread of its blocks, hence the time that plain sampling takes to
a 95 % interval of +-10 %; a run of far fewer years with replications must get there. Prints both in processor
time and fails if the saving is below 10, the short run misses +-10 %, or its mean is more than 4 standard
errors off that of the plain run (other blocks).
"""

import sys

from experiments.benchmarks.fewer_years import Comparison, compare
from hopyears.models.network.network import (
    Antenna,
    Crew,
    Hop,
    IndoorUnit,
    Network,
    PartChange,
    Power,
    Radio,
    Service,
    Site,
)
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.inputs.network_file import NetworkSource

N_HOPS = 4
REPLICATIONS = 40
SITE_PARTS = ("chassis", "fan", "mast", "software", "power_distribution")


def chain() -> NetworkSource:
    """Four hops of 9.5 km at 15 GHz in hot standby; sites built so well that the hops decide."""
    sites = tuple(
        Site(id=f"s{i}", latitude_deg=45.0 + 0.01 * (i % 2), longitude_deg=11.0 + 0.12 * i, power="strong")
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
            *(PartChange(kind=kind, mtbf_h=2e7) for kind in (*SITE_PARTS, "antenna")),
            PartChange(kind="coupler", mtbf_h=1e8),
        ),
        power=(Power(id="strong", battery_h=48.0),),
        indoor_units=(IndoorUnit(id="standard", controllers=2),),
        crews=(Crew(id="crew", base="s2"),),
    )
    raw = network.model_dump(mode="json", by_alias=True, exclude_none=True)
    return NetworkSource(network, "chain", (), raw)


def main(arguments: list[str]) -> int:
    """Compare both ways."""
    years, plain_years = (int(text) for text in (*arguments, "600", "3000")[:2])
    surer = ModelOptions(replications=REPLICATIONS)
    return compare(Comparison(chain(), surer, ModelOptions(), years, plain_years))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
