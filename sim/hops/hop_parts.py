"""Parts of a hop as the network file describes it."""

from hopyears.models.equipment.hardware import Mounting, Part, parts_of_hop
from hopyears.models.network.network import Hop, Network


def hop_parts(network: Network, hop: Hop) -> tuple[Part, ...]:
    """Every part at both ends of a hop, those of its 'from' end first."""
    mounting = Mounting(network.radio(hop.radio).mounting)
    return parts_of_hop(hop.id, hop.protection, mounting, ends=(hop.site_a, hop.site_b))
