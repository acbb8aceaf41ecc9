"""Hardware of a hop: the chain of parts at each end, and the bill of materials, from the scheme alone.

Radios are counted on each antenna and polarisation. What joins them to the antenna follows from the count
(common practice, no source): two outdoor radios on one polarisation need a hybrid coupler; one on each
polarisation an orthomode transducer; four on two polarisations a coupler for both. More than two channels
on one polarisation are joined by filters, because couplers would waste too much power.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from hopyears.models.equipment.part_kind import PART_KINDS, Place, kinds_at
from hopyears.models.judging.cause import Cause
from hopyears.models.radio.scheme import RadioRole, Scheme, radios_of


class Mounting(StrEnum):
    """Where the outdoor radios stand: on the antenna, or apart from it at the end of a waveguide."""

    DIRECT = "direct"
    WAVEGUIDE = "waveguide"


ITEM_REASONS: Mapping[str, str] = MappingProxyType(
    {
        "antenna_single_polarised": "all radios on it use one polarisation",
        "antenna_dual_polarised": "its radios use both polarisations",
        "hybrid_coupler": "two outdoor radios share one polarisation of an antenna",
        "orthomode_transducer": "one outdoor radio on each polarisation of an antenna",
        "two_polarisation_coupler": "several outdoor radios on both polarisations of an antenna",
        "branching_filter": "more than two channels share one polarisation of an antenna",
        "waveguide": "radios stand apart from the antenna: one for each polarisation of an antenna",
        "outdoor_radio": "one for each channel, standby and diversity receiver",
        "cable": "one for each outdoor radio",
        "modem_port": "one for each outdoor radio; an indoor unit's own or on a modem card",
    }
)
"""Items of the bill of materials at a hop end, each with the reason for its count."""


@dataclass(frozen=True)
class Part:
    """A part that can fail, at one end of a hop.

    Parameters
    ----------
    id : str
        Hop, site and part, for instance ``mill-ridge/mill/radio-1``; the same from plan to plan.
    kind : str
        Failure class, a key of ``PART_KINDS``.
    item : str
        Item of the bill of materials; empty for a part that the site's own bill has.
    end : int
        0 or 1.
    radios : tuple of int
        Radios of this end (``scheme.RadioRole.index``) that work only while the part does.
    channels : tuple of int
        Channels these radios belong to.
    """

    id: str
    kind: str
    item: str
    end: int
    radios: tuple[int, ...]
    channels: tuple[int, ...]

    @property
    def cause(self) -> Cause:
        """Cause flag of what is lost while this part is down."""
        return PART_KINDS[self.kind].cause


@dataclass(frozen=True)
class BillRow:
    """One line of a bill of materials: so many of an item at a place, and why."""

    place: str
    item: str
    count: int
    why: str


@dataclass(frozen=True)
class Joint:
    """A passive device that joins radios to one antenna; ``item`` is a key of ``ITEM_REASONS``."""

    item: str
    radios: tuple[int, ...]


def ports_of(scheme: Scheme) -> dict[tuple[int, int], tuple[RadioRole, ...]]:
    """Radios on each (antenna, polarisation) in use at one end, in that order."""
    ports: dict[tuple[int, int], list[RadioRole]] = {}
    for radio in sorted(radios_of(scheme), key=lambda r: (r.antenna, r.polarisation, r.index)):
        ports.setdefault((radio.antenna, radio.polarisation), []).append(radio)
    return {place: tuple(radios) for place, radios in ports.items()}


def is_branched(radios: Iterable[RadioRole]) -> bool:
    """Whether filters join these radios of one polarisation: with more than two channels among them."""
    return len({radio.channel for radio in radios}) > 2


def joints_of(scheme: Scheme) -> tuple[Joint, ...]:
    """Passive devices that join the radios of one end to its antennas.

    Notes
    -----
    Common practice, no source. A coupler for two polarisations contains two hybrid couplers and an orthomode
    transducer, so none of these is counted beside it. Where one polarisation has filters, each channel's
    hot-standby pair has a hybrid coupler before its filter, and both polarisations meet in a transducer.
    """
    joints: list[Joint] = []
    for antenna in range(scheme.n_antennas):
        ports = [radios for (place, _), radios in ports_of(scheme).items() if place == antenna]
        everyone = tuple(sorted(radio.index for radios in ports for radio in radios))
        branched = any(is_branched(radios) for radios in ports)
        shared = any(len(radios) > 1 for radios in ports)
        if len(ports) == 2 and shared and not branched:
            joints.append(Joint("two_polarisation_coupler", everyone))
            # Its two halves hold two radios each; further pairs are joined before it.
            joints += [joint for radios in ports if len(radios) > 2 for joint in _pair_couplers(radios)]
            continue
        if len(ports) == 2:
            joints.append(Joint("orthomode_transducer", everyone))
        joints += [joint for radios in ports for joint in _port_joints(radios)]
    return tuple(joints)


def _pair_couplers(radios: tuple[RadioRole, ...]) -> list[Joint]:
    pairs: dict[int, list[int]] = {}
    for radio in radios:
        pairs.setdefault(radio.channel, []).append(radio.index)
    return [Joint("hybrid_coupler", tuple(pair)) for pair in pairs.values() if len(pair) > 1]


def _port_joints(radios: tuple[RadioRole, ...]) -> list[Joint]:
    everyone = tuple(radio.index for radio in radios)
    if is_branched(radios):
        return [Joint("branching_filter", everyone), *_pair_couplers(radios)]
    channels = {radio.channel for radio in radios}
    across = [Joint("hybrid_coupler", everyone)] if len(channels) == 2 else []
    return across + _pair_couplers(radios)


@dataclass(frozen=True)
class SharedCard:
    """A card of an indoor unit on which several radios hang: a modem card, or a line card that feeds them."""

    id: str
    kind: str


Modems = Mapping[int, SharedCard | None]
"""Radios of one end whose modem is no part of the hop: the card that they need, or None where none."""


def parts_of_hop(
    hop_id: str,
    scheme: Scheme,
    mounting: Mounting = Mounting.DIRECT,
    *,
    ends: tuple[str, str] = ("a", "b"),
    modems: tuple[Modems, Modems] = (MappingProxyType({}), MappingProxyType({})),
) -> tuple[Part, ...]:
    """Parts at both ends of a hop, those of end 0 first, each end from the antenna inwards.

    Parameters
    ----------
    hop_id : str
    scheme : Scheme
    mounting : Mounting
        Radios that stand apart have a waveguide to each polarisation of each antenna (common practice, no
        source: radios stand on the coupler, and a waveguide leads from it to the antenna).
    ends : tuple of two str
        Site ids of end 0 and end 1, which name the parts.
    modems : tuple of two mappings
        For each end, the radios without a modem of their own. A card that serves several radios of the hop
        is one part; other hops may have the part of the same id.
    """
    chain = _chain(scheme, mounting)
    radios = radios_of(scheme)
    found = []
    for end in (0, 1):
        rows = [
            (f"{hop_id}/{ends[end]}/{name}", kind, item, served)
            for name, kind, item, served in chain
            if kind != "modem_card" or served[0] not in modems[end]
        ]
        by_card: dict[SharedCard, list[int]] = {}
        for radio, card in sorted(modems[end].items()):
            if card is not None:
                by_card.setdefault(card, []).append(radio)
        rows += [(card.id, card.kind, "", tuple(served)) for card, served in by_card.items()]
        found += [
            Part(name, kind, item, end, served, tuple(sorted({radios[r].channel for r in served})))
            for name, kind, item, served in rows
        ]
    return tuple(found)


def _chain(scheme: Scheme, mounting: Mounting) -> list[tuple[str, str, str, tuple[int, ...]]]:
    ports = ports_of(scheme)
    chain: list[tuple[str, str, str, tuple[int, ...]]] = []
    for antenna in range(scheme.n_antennas):
        used = [radios for (place, _), radios in ports.items() if place == antenna]
        item = "antenna_dual_polarised" if len(used) == 2 else "antenna_single_polarised"
        everyone = tuple(sorted(radio.index for radios in used for radio in radios))
        chain.append((f"antenna-{antenna + 1}", "antenna", item, everyone))
    chain += [
        (f"coupler-{number}", "coupler", joint.item, joint.radios)
        for number, joint in enumerate(joints_of(scheme), start=1)
    ]
    if mounting is Mounting.WAVEGUIDE:
        chain += [
            (f"waveguide-{number}", "waveguide", "waveguide", tuple(r.index for r in radios))
            for number, radios in enumerate(ports.values(), start=1)
        ]
    for kind in kinds_at(Place.RADIO):
        item = "modem_port" if kind.key == "modem_card" else kind.key
        chain += [
            (f"{kind.name or kind.key}-{r.index + 1}", kind.key, item, (r.index,)) for r in radios_of(scheme)
        ]
    return chain


def bill_of(parts: Iterable[Part]) -> tuple[BillRow, ...]:
    """Bill of materials of a hop's parts: one row per hop end and item, in the order of the chain."""
    counts: Counter[tuple[str, str]] = Counter()
    for part in parts:
        if part.item:
            counts[part.id.rsplit("/", 1)[0], part.item] += 1
    return tuple(
        BillRow(place, item, count, ITEM_REASONS.get(item, "one for each outdoor radio"))
        for (place, item), count in counts.items()
    )
