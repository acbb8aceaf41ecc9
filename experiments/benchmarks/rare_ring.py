"""Time that a ring in equatorial rain takes to +-10 %: plain, and with heavier storms, each weighted.

    python -m experiments.benchmarks.rare_ring [YEARS [PLAIN_YEARS]]

A service crosses a ring of six hops of 5 km at 18 GHz by either half: it is down when one storm takes both,
which no sum of single hops knows. Equipment is left out to show the storms alone. A long plain run gives the
time that plain sampling takes to a 95 % interval of +-10 %; a run of few years with heavier storms must get
there. Prints both in processor time and fails if the saving is below 10, the short run misses +-10 %, or its
mean is more than 4 standard errors off that of the plain run (other blocks).
"""

import sys

import numpy as np

from experiments.benchmarks.fewer_years import Comparison, compare
from hopyears.models.network.network import Antenna, Hop, Network, Radio, Service, Site
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.inputs.network_file import NetworkSource

N_SITES = 6
HOP_KM = 5.0
KM_PER_DEGREE = 111.2


def ring() -> NetworkSource:
    """Six sites on a circle, at the equator; one protected service between two that face each other."""
    angle = 2.0 * np.pi * np.arange(N_SITES) / N_SITES
    radius_deg = HOP_KM / (2.0 * np.sin(np.pi / N_SITES)) / KM_PER_DEGREE
    places = zip(5.0 + radius_deg * np.sin(angle), 11.0 + radius_deg * np.cos(angle), strict=True)
    network = Network(
        title="ring of six hops in equatorial rain",
        sites=tuple(
            Site(id=f"s{i}", latitude_deg=float(north), longitude_deg=float(east))
            for i, (north, east) in enumerate(places)
        ),
        hops=tuple(
            Hop(
                id=f"h{i}", site_a=f"s{i}", site_b=f"s{(i + 1) % N_SITES}", frequency_ghz=18.0,
                radio="radio", antenna="dish", scheme="1+1 HSB unequal",
            )
            for i in range(N_SITES)
        ),
        radios=(Radio(id="radio", transmit_power_dbm=18.0),),
        antennas=(Antenna(id="dish", diameter_m=0.6),),
        services=(
            Service(
                id="across", site_a="s0", site_b=f"s{N_SITES // 2}", committed_mbit_s=50.0,
                protection="protected",
            ),
        ),
    )  # fmt: skip
    raw = network.model_dump(mode="json", by_alias=True, exclude_none=True)
    return NetworkSource(network, "ring", (), raw)


def main(arguments: list[str]) -> int:
    """Compare both ways."""
    years, plain_years = (int(text) for text in (*arguments, "100", "600")[:2])
    weather = ModelOptions(failures=False)
    surer = ModelOptions(failures=False, replications=1, heavier_storms=True)
    return compare(Comparison(ring(), surer, weather, years, plain_years))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
