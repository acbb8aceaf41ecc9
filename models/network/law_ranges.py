"""Hops for which a law is used outside the range that its Recommendation states; one warning a hop."""

from collections.abc import Iterator

import numpy as np

from hopyears.models.air.multipath import SHORTEST_PATH_KM
from hopyears.models.basics.faults import Fault, grouped
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


def outside_law_ranges(network: Network) -> Iterator[Fault]:
    """Lengths and frequencies beyond those for which ITU-R P.530-18 states its methods.

    References
    ----------
    ITU-R P.530-18 (2021): rain 2.4.1, cross-polar discrimination 4.2.1, diversity 6.2; multipath 2.3.1 (7.5
    to 185 km and 15/d to 45 GHz; from memory; of its 7.5 km we warn not, as multipath counts from 5 km on).
    """
    lengths = lengths_km(network)
    yield from grouped(
        Fault(named("hop", hop.id), field, found, allowed)
        for hop in network.hops
        for field, found, allowed in _beyond(hop, lengths[hop.id])
    )


def _beyond(hop: Hop, length_km: float) -> Iterator[tuple[str, str, str]]:
    """Field, what was found and what is allowed, of each law that is overstretched."""
    frequency, scheme = hop.frequency_ghz, hop.protection
    length = f"{length_km:.1f} km"
    if length_km > 60:
        yield "path length", length, "up to 60 km for the rain method of P.530"
    if length_km > 185:
        yield "path length", length, "up to 185 km for the multipath law of P.530"
    if length_km > SHORTEST_PATH_KM and not 15.0 / length_km <= frequency <= 45.0:
        allowed = "15 GHz over the kilometres to 45 GHz for the multipath law of P.530"
        yield "frequency", f"{frequency:g} GHz over {length}", allowed
    if scheme.co_channel and not 8.0 <= frequency <= 35.0:
        yield (
            "frequency",
            f"{frequency:g} GHz",
            "8 to 35 GHz for the cross-polar discrimination of P.530 in rain",
        )
    if scheme.diversity in ("space", "both") and not (
        25 <= length_km <= 240 and 2 <= frequency <= 11 and 3 <= hop.antenna_separation_m <= 23
    ):
        yield (
            "space diversity",
            f"{frequency:g} GHz, {length}, {hop.antenna_separation_m:g} m",
            "2 to 11 GHz, 25 to 240 km, 3 to 23 m for the improvement of P.530",
        )
    if scheme.diversity in ("frequency", "both") and not (30 <= length_km <= 70 and 2 <= frequency <= 11):
        yield (
            "frequency diversity",
            f"{frequency:g} GHz, {length}",
            "2 to 11 GHz, 30 to 70 km for the improvement of P.530",
        )
