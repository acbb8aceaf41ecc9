"""Upgrades that might be bought: each a small plan, made from the network or named by the user."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hopyears.models.basics.faults import Fault
from hopyears.models.network.entry import Entry
from hopyears.models.network.network import Antenna, Hop, Network, Site
from hopyears.models.network.network_references import ID_FIELDS
from hopyears.models.radio.scheme import parse_scheme
from hopyears.sim.hops.site_hardware import sites_hardware
from hopyears.sim.inputs.input_errors import FaultList, shown
from hopyears.sim.inputs.input_text import read_toml

HOP, SITE, PLANT, PLAN = "hop", "site", "plant", "plan"
"""What a candidate changes, and so how its gain is found: the design of one hop; the hardware of one site;
batteries, generators, spares or crews; or anything, as the user names it."""

LARGER_BATTERY = 2.0
"""A larger battery lasts so many times as long (our own)."""

LONGEST_ID = 40


@dataclass(frozen=True)
class Candidate:
    """One upgrade.

    Attributes
    ----------
    id : str
        For instance ``mill-ridge: 1+1 SD``.
    kind : str
        ``HOP``, ``SITE``, ``PLANT`` or ``PLAN``.
    where : str
        Id of the hop or site; else its own id.
    plan : mapping
        As ``read_plan`` takes it.
    """

    id: str
    kind: str
    where: str
    plan: Mapping[str, Any]

    @property
    def stated(self) -> dict[tuple[str, ...], Any]:
        """What it states, by list, entry and field (and item of a table)."""
        found: dict[tuple[str, ...], Any] = {}
        for key, entries in self.plan.items():
            for entry in entries if isinstance(entries, list) else ():
                own = str(entry.get(ID_FIELDS.get(key, "id"))) if isinstance(entry, dict) else str(entry)
                for field, value in entry.items() if isinstance(entry, dict) else ():
                    if isinstance(value, dict):
                        found |= {(key, own, field, item): each for item, each in value.items()}
                    else:
                        found[key, own, field] = value
        return found


def exclusive(one: Candidate, other: Candidate) -> bool:
    """Whether only one of two can be bought: they state the same field otherwise."""
    first, second = one.stated, other.stated
    return any(first[name] != second[name] for name in first.keys() & second.keys())


def made_candidates(network: Network) -> list[Candidate]:
    """What the network itself suggests; nothing whose gain is judged here.

    Of each hop a standby, diversity, the next larger antenna, the next lower band that another hop uses; of
    each site a second controller, a second unit where a hop has standbys, twice the battery, a generator;
    one spare more of each kind in stock; one crew more at each base.
    """
    found = [each for hop in network.hops for each in _of_hop(network, hop)]
    hardware = sites_hardware(network)
    for site in network.sites:
        found += _of_site(network, site, hardware[site.id].n_units)
    for depot in network.depots:
        found += [
            Candidate(
                f"{depot.id}: spare {part}", PLANT, f"{depot.id}/{part}",
                {"depots": [{"id": depot.id, "stock": {part: count + 1}}]},
            )
            for part, count in depot.stock.items()
        ]  # fmt: skip
    found += [
        Candidate(f"{crew.id}: a crew", PLANT, crew.id, {"crews": [{"id": crew.id, "teams": crew.teams + 1}]})
        for crew in network.crews
    ]
    return found


def _of_hop(network: Network, hop: Hop) -> Iterator[Candidate]:
    def change(what: str, **fields: Any) -> Candidate:
        return Candidate(f"{hop.id}: {what}", HOP, hop.id, {"hops": [{"id": hop.id, **fields}]})

    scheme = hop.protection
    if scheme.working == 1 and not scheme.protection and not scheme.co_channel:
        wanted = ["1+1 SD"] if scheme.standby else ["1+1 HSB", "1+1 SD"]
        wanted = [] if scheme.space_diversity else wanted
    else:
        wanted = [f"{scheme.working}+1"] if not (scheme.protection or scheme.co_channel) else []
    yield from (change(each, scheme=each) for each in wanted if parse_scheme(each) != scheme)
    larger = _larger(network, network.antenna(hop.antenna))
    if larger is not None:
        ends = {"antenna": larger.id} | ({"antenna_b": larger.id} if hop.antenna_b else {})
        yield change(f"antenna {larger.id}", **ends)
    lower = [each for each in network.hops if each.frequency_ghz < 0.95 * hop.frequency_ghz]
    if lower:
        band = max(lower, key=lambda each: each.frequency_ghz)
        yield change(f"{band.frequency_ghz:g} GHz", frequency_ghz=band.frequency_ghz, radio=band.radio)


def _larger(network: Network, present: Antenna) -> Antenna | None:
    """The next larger dish among the network's antennas."""
    size = present.diameter_m
    dishes = [each for each in network.antennas if each.diameter_m and size and each.diameter_m > size]
    return min(dishes, key=lambda each: each.diameter_m or 0.0, default=None)


def _of_site(network: Network, site: Site, n_units: int) -> Iterator[Candidate]:
    unit, power = network.indoor_unit_of(site), network.power_of(site)
    ends = [hop for hop in network.hops if site.id in (hop.site_a, hop.site_b)]
    if ends and unit.controllers == 1:
        name = _short(unit.id, "two-controllers")
        plan = {
            "indoor_units": [_copy(unit, name, controllers=2)],
            "sites": [{"id": site.id, "indoor_unit": name}],
        }
        yield Candidate(f"{site.id}: second controller", SITE, site.id, plan)
    if any(hop.protection.standby for hop in ends):
        plan = {"sites": [{"id": site.id, "indoor_units": n_units + 1}]}
        yield Candidate(f"{site.id}: second indoor unit", SITE, site.id, plan)
    hours = LARGER_BATTERY * power.battery_h
    for what, fields in (
        (f"battery {hours:g} h", {"battery_h": hours} if hours else {}),
        ("generator", {"generator": True} if not power.generator and power.solar_harvest_h is None else {}),
    ):
        if fields:
            name = _short(power.id, f"{site.id}-{what.split()[0]}")
            plan = {"power": [_copy(power, name, **fields)], "sites": [{"id": site.id, "power": name}]}
            yield Candidate(f"{site.id}: {what}", PLANT, f"{site.id}/power", plan)


def _short(one: str, other: str) -> str:
    return f"{one}-{other}"[:LONGEST_ID]


def _copy(entry: Entry, name: str, **fields: Any) -> dict[str, Any]:
    """An entry under another name with some fields changed, as a file has it."""
    return {**entry.model_dump(mode="json", by_alias=True, exclude_none=True), "id": name, **fields}


def read_candidates(path: Path) -> tuple[list[Candidate], bool]:
    """Candidates of a file, and whether those that the network suggests are wanted beside them.

    The file has ``[[candidates]]``, each with an ``id`` and the entries of a plan, for instance a hop that
    closes a ring; ``made = false`` leaves the others out.

    Raises
    ------
    InputError
        If it cannot be read, or holds anything else.
    """
    raw, faults = read_toml(path), FaultList()
    for key in raw.keys() - {"candidates", "made"}:
        faults.add(path.name, Fault("", "key", f'"{key}"', "candidates or made"))
    made, entries = raw.get("made", True), raw.get("candidates", [])
    if not isinstance(made, bool):
        faults.add(path.name, Fault("", "made", shown(made), "true or false"))
    found: list[Candidate] = []
    if not isinstance(entries, list):
        faults.add(path.name, Fault("", "candidates", shown(entries), "a list of tables, [[candidates]]"))
        entries = []
    for number, entry in enumerate(entries, start=1):
        name = entry.get("id") if isinstance(entry, dict) else None
        if not isinstance(name, str) or name in {each.id for each in found}:
            faults.add(path.name, Fault(f"candidate {number}", "id", shown(name), "a name of its own"))
            continue
        plan = {key: value for key, value in entry.items() if key != "id"}
        found.append(Candidate(name, PLAN, name, plan))
    faults.stop_if_any()
    return found, made
