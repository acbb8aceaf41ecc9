"""A ring of six hops in equatorial rain, down when one storm takes both halves."""

import numpy as np

from hopyears.models.network.network import Antenna, Hop, Network, Radio, Service, Site
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
