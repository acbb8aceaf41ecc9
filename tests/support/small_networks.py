"""Small invented networks for tests."""

from hopyears.models.network.network import Antenna, Crew, Hop, Network, Radio, Service, Site
from hopyears.sim.inputs.network_file import NetworkSource

RADIO = Radio(id="r", transmit_power_dbm=20.0)
ANTENNAS = (Antenna(id="small", diameter_m=0.6), Antenna(id="large", diameter_m=2.4))


def hop(hop_id, site_a, site_b, frequency_ghz, scheme="1+0", *, antenna="small", **more):
    """A hop with the common radio."""
    return Hop(
        id=hop_id,
        site_a=site_a,
        site_b=site_b,
        frequency_ghz=frequency_ghz,
        scheme=scheme,
        radio="r",
        antenna=antenna,
        **more,
    )


def triangle(scheme="1+0", **more):
    """Three sites 8 to 40 km apart on a plain at 45 N, one long 7 GHz hop and two short 23 GHz hops."""
    sites = (
        Site(id="a", latitude_deg=45.0, longitude_deg=11.0, ground_height_m=20),
        Site(id="b", latitude_deg=45.0, longitude_deg=11.5, ground_height_m=25),
        Site(id="c", latitude_deg=45.06, longitude_deg=11.06, ground_height_m=20),
    )
    hops = (
        hop("a-b", "a", "b", 7.0, scheme, antenna="large"),
        hop("a-c", "a", "c", 23.0, "1+1 HSB"),
        hop("c-b", "c", "b", 7.4, "1+0", antenna="large"),
    )
    services = (
        Service(id="one", site_a="a", site_b="b", committed_mbit_s=30.0, peak_mbit_s=100.0),
        Service(id="two", site_a="a", site_b="c", committed_mbit_s=50.0, protection="protected"),
    )
    fields = {
        "title": "triangle",
        "sites": sites,
        "hops": hops,
        "services": services,
        "radios": (RADIO,),
        "antennas": ANTENNAS,
        "crews": (Crew(id="crew", base="a"),),
    }
    return Network(**{**fields, **more})


def source_of(network):
    """A network as if it had been read from a file."""
    raw = network.model_dump(mode="json", by_alias=True, exclude_none=True)
    return NetworkSource(network, "test.toml", (), raw)
