"""Parts of a hop as the network file describes it."""

from collections.abc import Mapping

from hopyears.models.equipment.hardware import Mounting, Part, parts_of_hop
from hopyears.models.equipment.indoor_unit import SiteHardware
from hopyears.models.network.network import Hop, Network


def hop_parts(network: Network, hop: Hop, hardware: Mapping[str, SiteHardware]) -> tuple[Part, ...]:
    """Every part at both ends of a hop, those of its 'from' end first.

    ``hardware`` is that of ``sites_hardware``: cards that serve several radios belong to their site.
    """
    ends = (hop.site_a, hop.site_b)
    return parts_of_hop(
        hop.id,
        hop.protection,
        Mounting(network.radio(hop.radio).mounting),
        ends=ends,
        modems=(hardware[ends[0]].modems_of(hop.id), hardware[ends[1]].modems_of(hop.id)),
    )
