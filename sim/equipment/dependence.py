"""What each hop depends on: its own parts, parts of its sites, and the switches between its radios."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hopyears.models.equipment import plant
from hopyears.models.equipment.indoor_unit import SiteHardware, parts_of_site
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import PART_KINDS, Place, kinds_at
from hopyears.models.network.network import Network
from hopyears.models.radio.scheme import radios_of
from hopyears.sim.hops.hop_design import HopDesign


@dataclass(frozen=True)
class OutsidePart:
    """A part outside the hop that holds some of its radios down.

    ``group`` names parts that stand in for each other: the radios are down only while all of a group are.
    With ``mending`` they are down only while somebody mends the part, not while it waits.
    """

    part: int
    end: int
    radios: tuple[int, ...]
    cause: int
    group: str
    mending: bool = False


@dataclass(frozen=True)
class HopDependence:
    """What one hop depends on, as indices into the plant.

    ``own`` are the parts of its link structure in the order of the bits; ``groups`` holds, for each end and
    channel, the protection group that chooses the transmitter, or -1; ``sites`` are both ends' sites;
    ``switches`` are the channel switches that receive forward and backward traffic, none without protection
    channels.
    """

    own: tuple[int, ...]
    outside: tuple[OutsidePart, ...]
    groups: tuple[tuple[int, ...], tuple[int, ...]]
    sites: tuple[int, int]
    switches: tuple[int, ...] = ()


@dataclass(frozen=True)
class Dependences:
    """Dependences of all hops, their switches, and parts whose failure nobody can overlook.

    ``plainly_seen`` are parts that serve several radios, one of them at least outside every chain.
    """

    hops: tuple[HopDependence, ...]
    groups: tuple[plant.ProtectionGroup, ...]
    switches: tuple[plant.ChannelSwitch, ...]
    plainly_seen: frozenset[int]


def hop_dependences(
    designs: Sequence[HopDesign],
    hardware: Mapping[str, SiteHardware],
    part_index: Mapping[str, int],
    site_index: Mapping[str, int],
    network: Network,
) -> Dependences:
    """What every hop depends on.

    Parameters
    ----------
    designs : sequence of HopDesign
    hardware : mapping of str to SiteHardware
        By site id.
    part_index, site_index : mapping of str to int
        Places of parts and sites in the plant, by id.
    network : Network
    """
    modem_of = {
        (design.hop.id, (design.hop.site_a, design.hop.site_b)[part.end], radio): part.id
        for design in designs
        for part in design.parts
        if part.kind == "modem_card"
        for radio in part.radios
    }
    hops, groups, switches = [], list[plant.ProtectionGroup](), list[plant.ChannelSwitch]()
    for design in designs:
        ends = (design.hop.site_a, design.hop.site_b)
        outside = tuple(
            each
            for end, site_id in enumerate(ends)
            for each in _outside(design, end, hardware[site_id], part_index, modem_of)
        )
        own_switches = _switches(design, outside, part_index, network)
        hop_groups = [_groups(design, end, outside, part_index, network, groups) for end in (0, 1)]
        hops.append(
            HopDependence(
                own=tuple(part_index[part.id] for part in design.parts),
                outside=outside,
                groups=(hop_groups[0], hop_groups[1]),
                sites=(site_index[ends[0]], site_index[ends[1]]),
                switches=tuple(len(switches) + i for i in range(len(own_switches))),
            )
        )
        switches += own_switches
    return Dependences(tuple(hops), tuple(groups), tuple(switches), _plainly_seen(designs, hops, groups))


def _outside(
    design: HopDesign,
    end: int,
    hardware: SiteHardware,
    part_index: Mapping[str, int],
    modem_of: Mapping[tuple[str, str, int], str],
) -> list[OutsidePart]:
    """Parts of one end's site that hold radios of the hop down."""
    hop, site_id = design.hop, hardware.site_id
    found = []
    for part in parts_of_site(hardware):
        radios = tuple(radio for hop_id, radio in part.radios if hop_id == hop.id)
        if radios:
            cause = int(PART_KINDS[part.kind].cause)
            found.append(OutsidePart(part_index[part.id], end, radios, cause, part.group))
    everything = tuple(range(design.scheme.n_radios))
    for kind in kinds_at(Place.SITE):
        name = f"{site_id}/{kind.key}"
        found.append(OutsidePart(part_index[name], end, everything, int(kind.cause), name))
    for unit in range(hardware.n_units):
        served = hardware.served_by(unit)
        for stopper in hardware.stopping(unit):
            radios = tuple(each[1] for each in served if each[0] == hop.id and each != stopper)
            if radios:
                modem = part_index[modem_of[stopper[0], site_id, stopper[1]]]
                cause = int(PART_KINDS["modem_card"].cause)
                group = f"{site_id}/unit-{unit + 1}/mending-{modem}"
                found.append(OutsidePart(modem, end, radios, cause, group, mending=True))
    return found


def _groups(
    design: HopDesign,
    end: int,
    outside: Sequence[OutsidePart],
    part_index: Mapping[str, int],
    network: Network,
    groups: list[plant.ProtectionGroup],
) -> tuple[int, ...]:
    """Adds the protection group of each channel with two transmitters; its number, or -1, by channel."""
    row, switching = [], network.switching
    site_id = (design.hop.site_a, design.hop.site_b)[end]
    for channel, radios in enumerate(design.structure.radios_on):
        if len(radios) < 2:
            row.append(-1)
            continue
        rivals = set(radios.values())
        order = sorted(radios)
        test = None if switching.standby_test_visit else Law.fixed(switching.standby_test_days * 24.0)
        row.append(len(groups))
        groups.append(
            plant.ProtectionGroup(
                id=f"{design.hop.id}/{site_id}/channel-{channel + 1}",
                chains=tuple(_chain(design, end, radios[i], rivals, outside, part_index) for i in order),
                stopped_by=tuple(_stopped_by(end, radios[i], rivals, outside) for i in order),
                switch_time_s=switching.changeover_s,
                switch_failure=switching.failure_on_demand,
                manual_switch=Law.lognormal(switching.manual_switch_h, network.repair.duration_ln_sd),
                revertive=switching.reverts,
                wait_to_restore_s=switching.wait_to_restore_s,
                test=test,
            )
        )
    return tuple(row)


def _switches(
    design: HopDesign, outside: Sequence[OutsidePart], part_index: Mapping[str, int], network: Network
) -> list[plant.ChannelSwitch]:
    """Switches of a hop with protection channels, of forward and of backward traffic."""
    scheme, switching = design.scheme, network.switching
    if not scheme.protection:
        return []
    radios = radios_of(scheme)
    channels = []
    for channel in range(scheme.n_channels):
        whole = {radio.index for radio in radios if radio.channel == channel and radio.transmits}
        own = [part_index[part.id] for part in design.parts if whole <= set(part.radios)]
        channels.append((*own, *_alone_outside(whole, outside)))
    return [
        plant.ChannelSwitch(
            id=f"{design.hop.id}/{site_id}/channels",
            channels=tuple(channels),
            working=scheme.working,
            switch_failure=switching.failure_on_demand,
            manual_switch=Law.lognormal(switching.manual_switch_h, network.repair.duration_ln_sd),
        )
        for site_id in (design.hop.site_b, design.hop.site_a)
    ]


def _alone_outside(whole: set[int], outside: Sequence[OutsidePart]) -> list[int]:
    """Parts outside the hop that stop all of some radios, with nothing to stand in for them."""
    members = Counter(part.group for part in outside)
    return [
        part.part
        for part in outside
        if not part.mending and whole <= set(part.radios) and members[part.group] == 1
    ]


def _chain(
    design: HopDesign,
    end: int,
    radio: int,
    rivals: set[int],
    outside: Sequence[OutsidePart],
    part_index: Mapping[str, int],
) -> tuple[int, ...]:
    """Parts whose failure makes the transmitter change over: those that serve this radio and not the
    channel's other one, its own and those of an indoor unit, unless another part stands in for them."""
    own = [
        part_index[part.id]
        for part in design.parts
        if part.end == end and rivals & set(part.radios) == {radio}
    ]
    members = Counter(part.group for part in outside)
    beyond = [
        part.part
        for part in outside
        if part.end == end
        and not part.mending
        and rivals & set(part.radios) == {radio}
        and members[part.group] == 1
    ]
    return (*own, *beyond)


def _stopped_by(end: int, radio: int, rivals: set[int], outside: Sequence[OutsidePart]) -> tuple[int, ...]:
    """Parts whose mending stops this radio and not the channel's other one."""
    return tuple(
        part.part
        for part in outside
        if part.end == end and part.mending and rivals & set(part.radios) == {radio}
    )


def _plainly_seen(
    designs: Sequence[HopDesign], hops: Sequence[HopDependence], groups: Sequence[plant.ProtectionGroup]
) -> frozenset[int]:
    """Parts that serve more channel ends than they are in chains of."""
    serves: dict[int, set[tuple[int, int, int]]] = defaultdict(set)
    chained: dict[int, set[tuple[int, int, int]]] = defaultdict(set)
    for number, (design, hop) in enumerate(zip(designs, hops, strict=True)):
        for index, part in zip(hop.own, design.parts, strict=True):
            serves[index] |= {(number, part.end, channel) for channel in part.channels}
        channel_of = [radio.channel for radio in radios_of(design.scheme)]
        for each in hop.outside:
            if not each.mending:
                serves[each.part] |= {(number, each.end, channel_of[radio]) for radio in each.radios}
        for end, row in enumerate(hop.groups):
            for channel, group in enumerate(row):
                for part_number in {p for chain in groups[group].chains for p in chain} if group >= 0 else ():
                    chained[part_number].add((number, end, channel))
    return frozenset(part for part, ends in serves.items() if chained[part] and ends - chained[part])
