"""What can have a price: every row of a bill, the name of its price and what may tell its price apart.

A price is named ``item``, ``item/type``, ``item/band`` or ``item/type/band``; the most special one that is
given holds. The type is the id of the entry that the item is made by (``outdoor_radio/r18``), the band the
whole gigahertz of the hop (``18GHz``). A licence has a channel width in place of a type (``licence/56MHz``).
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from hopyears.models.equipment.part_kind import PART_KINDS

SPARE = "spare_"
"""What the name of a spare begins with, before the kind of part."""


class Priced(NamedTuple):
    """What one item is, which entries its type is an id of (empty: none), and whether it has a band."""

    meaning: str
    type_of: str = ""
    banded: bool = False


_RADIO, _ANTENNA, _UNIT, _POWER = "radios", "antennas", "indoor_units", "power"
WIDTHS = "channel widths"
"""Of a licence, whose types are no entries."""

PRICED: Mapping[str, Priced] = MappingProxyType(
    {
        "antenna_single_polarised": Priced("an antenna of one polarisation", _ANTENNA, True),
        "antenna_dual_polarised": Priced("an antenna of two polarisations", _ANTENNA, True),
        "hybrid_coupler": Priced("a hybrid coupler", banded=True),
        "orthomode_transducer": Priced("an orthomode transducer", banded=True),
        "two_polarisation_coupler": Priced("a coupler of two polarisations", banded=True),
        "branching_filter": Priced("the filters of one polarisation", banded=True),
        "waveguide": Priced("a waveguide", banded=True),
        "outdoor_radio": Priced("an outdoor radio", _RADIO, True),
        "cable": Priced("the cable of a radio", _RADIO, True),
        "modem_port": Priced("the modem of a radio; its card has a price of its own", _RADIO, True),
        "indoor_unit": Priced("an indoor unit", _UNIT),
        "controller": Priced("a second controller", _UNIT),
        "modem_card": Priced("a modem card", _UNIT),
        "line_card_packet": Priced("a line card", _UNIT),
        "line_card_circuit": Priced("a line card", _UNIT),
        "line_card_optical": Priced("a line card", _UNIT),
        "battery_hour": Priced("the battery for an hour of a site", _POWER),
        "generator": Priced("a standby generator", _POWER),
        "rectifier": Priced("a rectifier module", _POWER),
        "solar_supply": Priced("a supply by the sun", _POWER),
        "site": Priced("a site, its ground and mast"),
        "mast_space": Priced("the place of one antenna on a mast", _ANTENNA, True),
        "radio_energy": Priced("what one outdoor radio uses", _RADIO, True),
        "unit_energy": Priced("what one indoor unit uses", _UNIT),
        "licence": Priced("one channel of a hop on one polarisation", WIDTHS, True),
        "spectrum_mhz": Priced("one megahertz of such a channel", banded=True),
        "base": Priced("a base of crews", "crews"),
        "crew": Priced("a crew", "crews"),
        **{
            f"{SPARE}{kind.key}": Priced(
                "a spare; by the year its storing", _RADIO if kind.key == "outdoor_radio" else ""
            )
            for kind in PART_KINDS.values()
            if kind.spare
        },
    }
)
"""Every item that can have a price."""


def band_of(frequency_ghz: float) -> str:
    """Name of a band in a price: ``18GHz`` from 17.5 to below 18.5 GHz."""
    return f"{int(frequency_ghz + 0.5)}GHz"


def width_of(channel_width_mhz: float) -> str:
    """Name of a channel width in the price of a licence: ``56MHz``, ``13.75MHz``."""
    return f"{channel_width_mhz:g}MHz"


def price_of(prices: Mapping[str, float], item: str, kind: str = "", band: str = "") -> float | None:
    """The most special price of an item that is given, None where there is none.

    Parameters
    ----------
    prices : mapping of str to float
        By name, as a file has them.
    item : str
        A key of ``PRICED``.
    kind : str
        Its type; empty where it has none.
    band : str
        Its band, likewise.
    """
    names = (f"{item}/{kind}/{band}", f"{item}/{kind}", f"{item}/{band}", item)
    return next((prices[name] for name in names if name in prices), None)
