"""Values that are legal and yet look like a slip of the pen: orders, magnitudes, heights."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from hopyears.models.basics.faults import Doubt
from hopyears.models.network.network import Modulation, Network
from hopyears.models.network.network_references import named

SHORT_LIFE_H = 1000.0
"""Mean life below which a part of a network in service is doubted (our own: six weeks)."""

NARROWEST_MHZ = {3.0: 0.25, 110.0: 1.75}
"""Narrowest channels of ITU-R plans up to so many GHz (F.1242 at 1.4 GHz; F.595, F.636; from memory)."""


def unordered_modulations(network: Network) -> Iterator[Doubt]:
    """Radios of which a higher modulation needs less, or carries less, than a lower one."""
    for radio in network.radios:
        for field in ("required_snr_db", "threshold_dbm", "capacity_mbit_s"):
            pair = _first_fall(radio.modulations, field)
            if pair:
                low, high = pair
                yield Doubt(
                    named("radio", radio.id),
                    f"{field} is {getattr(high, field):g} at {high.states} states, not above "
                    f"{getattr(low, field):g} at {low.states}",
                )


def _first_fall(steps: Sequence[Modulation], field: str) -> tuple[Modulation, Modulation] | None:
    stated = [step for step in steps if getattr(step, field) is not None]
    falls = (pair for pair in pairwise(stated) if getattr(pair[1], field) <= getattr(pair[0], field))
    return next(falls, None)


def short_lives(network: Network) -> Iterator[Doubt]:
    """Kinds of part that fail every few weeks."""
    for change in network.parts:
        if change.mtbf_h is not None and change.mtbf_h < SHORT_LIFE_H:
            law = f"a mean life below {SHORT_LIFE_H:g} h is likely a slip (hours are meant)"
            yield Doubt(named("part", change.kind), f"mtbf_h is {change.mtbf_h:g}", law)


def narrow_channels(network: Network) -> Iterator[Doubt]:
    """Channels narrower than those of any plan of the band."""
    for hop in network.hops:
        least = next(width for limit, width in NARROWEST_MHZ.items() if hop.frequency_ghz <= limit)
        if hop.channel_width_mhz < least:
            law = f"no ITU-R plan of that band has channels narrower than {least:g} MHz"
            text = f"channel_width_mhz is {hop.channel_width_mhz:g} at {hop.frequency_ghz:g} GHz"
            yield Doubt(named("hop", hop.id), text, law)


def lower_antennas(network: Network) -> Iterator[Doubt]:
    """Hops with space diversity whose lower antenna would stand in the ground."""
    heights = {site.id: site.antenna_height_m for site in network.sites}
    for hop in network.hops:
        if not hop.protection.space_diversity:
            continue
        ends = ((hop.antenna_height_a_m, hop.site_a), (hop.antenna_height_b_m, hop.site_b))
        lowest = min(heights[site] if own is None else own for own, site in ends)
        if lowest <= hop.antenna_separation_m:
            law = "the lower antenna would stand in the ground"
            text = f"antenna_separation_m is {hop.antenna_separation_m:g} below an antenna at {lowest:g} m"
            yield Doubt(named("hop", hop.id), text, law)
