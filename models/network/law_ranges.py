"""Hops for which a law is used outside the range that its Recommendation states; one warning a hop."""

from collections.abc import Iterator

import numpy as np

from hopyears.models.air.multipath import SHORTEST_PATH_KM
from hopyears.models.basics.faults import Doubt
from hopyears.models.basics.geometry import path_length_km
from hopyears.models.network.network import Hop, Network
from hopyears.models.network.network_references import named


def lengths_km(network: Network) -> dict[str, float]:
    """Length of every hop whose sites are known, by hop id [km]."""
    places = {site.id: (site.latitude_deg, site.longitude_deg) for site in network.sites}
    hops = [hop for hop in network.hops if hop.site_a in places and hop.site_b in places]
    if not hops:
        return {}
    ends = np.array([(*places[hop.site_a], *places[hop.site_b]) for hop in hops])
    lengths = path_length_km(ends[:, 0], ends[:, 1], ends[:, 2], ends[:, 3])
    return {hop.id: float(length) for hop, length in zip(hops, lengths, strict=True)}


def outside_law_ranges(network: Network) -> Iterator[Doubt]:
    """Lengths and frequencies beyond those for which ITU-R P.530-18 states its methods.

    References
    ----------
    ITU-R P.530-18 (2021): rain 2.4.1, cross-polar discrimination 4.2.1, diversity 6.2; multipath 2.3.1 (7.5
    to 185 km and 15/d to 45 GHz; from memory; of its 7.5 km we warn not, as multipath counts from 5 km on).
    """
    lengths = lengths_km(network)
    for hop in network.hops:
        for text, law in _beyond(hop, lengths[hop.id]):
            yield Doubt(named("hop", hop.id), text, law)


def _beyond(hop: Hop, length_km: float) -> Iterator[tuple[str, str]]:
    """What overstretches a law, and the law."""
    frequency, scheme = hop.frequency_ghz, hop.protection
    length = f"{length_km:.1f} km long"
    here = f"{frequency:g} GHz and {length_km:.1f} km"
    if length_km > 60:
        yield length, "the rain method of P.530 is stated for up to 60 km"
    if length_km > 185:
        yield length, "the multipath law of P.530 is stated for up to 185 km"
    if length_km > SHORTEST_PATH_KM and not 15.0 / length_km <= frequency <= 45.0:
        law = "the multipath law of P.530 is stated from 15 GHz over the kilometres to 45 GHz"
        yield here, law
    if scheme.co_channel and not 8.0 <= frequency <= 35.0:
        law = "the cross-polar discrimination of P.530 in rain is stated for 8 to 35 GHz"
        yield f"two polarisations at {frequency:g} GHz", law
    if scheme.diversity in ("space", "both") and not (
        25 <= length_km <= 240 and 2 <= frequency <= 11 and 3 <= hop.antenna_separation_m <= 23
    ):
        yield (
            f"space diversity at {here} with {hop.antenna_separation_m:g} m between the antennas",
            "P.530 states its improvement for 2 to 11 GHz, 25 to 240 km and 3 to 23 m",
        )
    if scheme.diversity in ("frequency", "both") and not (30 <= length_km <= 70 and 2 <= frequency <= 11):
        law = "P.530 states its improvement for 2 to 11 GHz and 30 to 70 km"
        yield f"frequency diversity at {here}", law
