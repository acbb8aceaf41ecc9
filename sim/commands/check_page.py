"""The page that ``check`` prints: what differs from the defaults, hops, services, hardware and its cost."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from hopyears.models.equipment.hardware import bill_of
from hopyears.models.equipment.indoor_unit import SiteHardware, site_bill
from hopyears.models.equipment.part_kind import PART_KINDS
from hopyears.models.network.network import Modulation, Network, PartChange, Service
from hopyears.sim.commands.check_values import Value, part_values, rule_in_words
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.inputs.network_build import ENTRY_LISTS, SINGLE_ENTRIES
from hopyears.sim.money.network_costs import cost_rows, terms_of, without_price
from hopyears.sim.studies.single_failures import ALL_UP, PART
from hopyears.sim.wording.money_rows import ITEM_HEADS, cost_sentences, item_rows_of
from hopyears.sim.wording.wording import plural

if TYPE_CHECKING:
    import pandas as pd

PAGE_WIDTH = 80
"""Characters of a line."""

MOST_NAMES = 3
"""Different words of a field that are named; of more, their number."""

MOST_FAILING = 8
"""Single failures that are shown, those that take most first."""

DOWN_LETTERS, SERVICE_LETTERS = 34, 20
"""Letters of what is down, and of the services that it takes."""

MOST_KINDS = 20
"""Kinds of hop that are shown, those of most hops first."""

IN_THE_KINDS = {"hops": {"scheme", "channel_width_mhz"}, "services": {"kind", "protection", "peak_mbit_s"}}
"""Fields that the lines of hops and services show."""


def page(
    name: str,
    network: Network,
    designs: Sequence[HopDesign],
    hardware: Mapping[str, SiteHardware],
    values: Sequence[Value],
    failing: "pd.DataFrame",
) -> Iterator[str]:
    """Lines of the page.

    Parameters
    ----------
    name : str
        Of the file.
    network : Network
    designs : sequence of HopDesign
        Of its hops.
    hardware : mapping of str to SiteHardware
        By site id.
    values : sequence of Value
        Every value in force.
    failing : DataFrame
        What ``single_failures`` gives.
    """
    yield f"{name}: {network.title}"
    counts = ((len(getattr(network, f"{noun}s")), noun) for noun in ("site", "hop", "service"))
    yield f"{', '.join(plural(*each) for each in counts)}."
    yield from _section("Hops", hop_kinds(designs))
    yield from _section("Services", service_kinds(network.services))
    yield from _section("Differs from the default (default in brackets)", differences(network))
    yield from _section("In force though not in the file", unwritten(network))
    yield from _section(
        "What fails first (committed Mbit/s that lack in clear air, one thing down)", fails_first(failing)
    )
    yield from _section("Hardware", hardware_totals(designs, hardware))
    yield from _section("Cost", costs(network))
    yield ""


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    shown = [
        part
        for line in lines
        for part in wrap(f"  {line}", PAGE_WIDTH, subsequent_indent="    ", break_long_words=False) or [""]
    ]
    if shown:
        yield f"\n{title}"
        yield from shown


def hop_kinds(designs: Sequence[HopDesign]) -> Iterator[str]:
    """One line for the hops of a scheme, radio and channel width: how many, and between which limits."""
    kinds: dict[tuple[str, str, float], list[HopDesign]] = defaultdict(list)
    for design in designs:
        kinds[design.hop.scheme, design.radio.id, design.hop.channel_width_mhz].append(design)
    rows = [("", "scheme", "radio", "GHz", "MHz", "km", "Mbit/s", "rain mm/h", "margin dB")]
    most = sorted(kinds.items(), key=lambda kind: -len(kind[1]))[:MOST_KINDS]
    for (scheme, radio, width_mhz), some in most:
        rows.append(
            (
                str(len(some)),
                scheme,
                radio,
                _limits(each.hop.frequency_ghz for each in some),
                f"{width_mhz:g}",
                _limits(each.path.length_km for each in some),
                _limits(each.clear_capacity_mbit_s for each in some),
                _limits(each.climate.rain_rate_001_mm_h for each in some),
                _limits(float(each.levels.margin_db[0].max()) for each in some),
            )
        )
    yield from _columns(rows)
    if len(kinds) > MOST_KINDS:
        yield f"... and {len(kinds) - MOST_KINDS} kinds more"
    snow = sum(each.rain.precipitation.kind != "rain" for each in designs)
    if snow:
        yield f"rain and wet snow on {snow}, rain alone on {len(designs) - snow}"


def service_kinds(services: Sequence[Service]) -> Iterator[str]:
    """One line for the services of a kind and protection: how many, and their rates."""
    kinds: dict[tuple[str, str], list[Service]] = defaultdict(list)
    for service in services:
        kinds[service.kind, service.protection].append(service)
    rows = [("", "kind", "protection", "committed Mbit/s", "peak Mbit/s", "priority")]
    for (kind, protection), some in kinds.items():
        rows.append(
            (
                str(len(some)),
                kind,
                protection,
                _limits(each.committed_mbit_s for each in some),
                _limits(each.full_rate_mbit_s for each in some),
                _limits(each.priority for each in some),
            )
        )
    if services:
        yield from _columns(rows)


def differences(network: Network) -> Iterator[str]:
    """One line for each field that some entry states otherwise than by default."""
    for key in (key for key in (*ENTRY_LISTS, *SINGLE_ENTRIES) if key not in ("parts", "prices")):
        entries = getattr(network, key)
        listed = isinstance(entries, tuple)
        entries = entries if listed else (entries,)
        for field, info in type(entries[0]).model_fields.items() if entries else ():
            if info.is_required() or field in IN_THE_KINDS.get(key, ()):
                continue
            default = info.get_default(call_default_factory=True)
            others = [value for entry in entries if (value := getattr(entry, field)) != default]
            if others:
                count = f", {len(others)} of {len(entries)}" if listed and len(entries) > 1 else ""
                unset = default in (None, (), {})
                usual = rule_in_words(info.description or "") if unset else _word(default)
                yield f"{key}.{info.alias or field}: {_span(others)} ({usual}){count}"
    yield from _changed_parts(network.parts)


def _changed_parts(changes: Sequence[PartChange]) -> Iterator[str]:
    for change in changes:
        usual = part_values(PART_KINDS[change.kind])
        stated = (
            f"{field} {_word(value)} ({_word(usual[field])})"
            for field in usual
            if (value := getattr(change, field)) is not None
        )
        yield f"parts {change.kind}: {', '.join(stated)}"


def unwritten(network: Network) -> Iterator[str]:
    """Entries that hold although the file has none of their kind."""
    if not network.crews:
        yield f'one crew with every default, at site "{network.sites[0].id}"'
    for key, field, what in (("power", "power", "power"), ("indoor_units", "indoor_unit", "indoor unit")):
        named = {entry.id for entry in getattr(network, key)}
        some = sum(getattr(site, field) not in named for site in network.sites)
        if some:
            yield f"{some} sites of the {what} entry with every default"
    if not network.depots:
        yield "spares never lack, since no depot keeps any"


def fails_first(failing: "pd.DataFrame") -> Iterator[str]:
    """Whether committed rates fit with all up, and the single failures that take most of them."""
    if failing.empty:
        return
    rows = [("what is down", "below", "down", "lacking", "services")]
    alike = failing.groupby(["kind", "services", "lacking_mbit_s", "down"], sort=False)
    for _, some in [*alike][: MOST_FAILING + 1]:
        row = {str(name): value for name, value in some.iloc[0].items()}
        cells = (str(row["below_committed"]), str(row["down"]), f"{row['lacking_mbit_s']:,.4g}")
        services = _and_more(str(row["services"]).split(", "), SERVICE_LETTERS)
        what = _and_more([_down(row["kind"], str(each)) for each in some["what"]], DOWN_LETTERS)
        rows.append((what, *cells, services))
    yield from _columns(rows)
    if len(alike) > MOST_FAILING + 1:
        yield f"... and {len(alike) - MOST_FAILING - 1} more"


def _down(kind: str, what: str) -> str:
    """What is down in words: a hop, a part at its site, or nothing."""
    site, *_, part = what.split("/") if "/" in what else (what, what)
    if kind == ALL_UP:
        return kind
    return f"{part.partition('-')[0].replace('_', ' ')} at {site}" if kind == PART else f"{kind} {what}"


def _and_more(names: Sequence[str], most_letters: int) -> str:
    """The first name, shortened where it is long, and how many more there are."""
    more = f" +{len(names) - 1}" if len(names) > 1 else ""
    room = most_letters - len(more)
    first = names[0] if len(names[0]) <= room else f"{names[0][: room - 1]}…"
    return first + more


def hardware_totals(designs: Sequence[HopDesign], hardware: Mapping[str, SiteHardware]) -> Iterator[str]:
    """Bill of materials of the whole network: one line a kind of item."""
    total: Counter[str] = Counter()
    for design in designs:
        for row in bill_of(design.parts):
            total[row.item] += row.count
    for plan in hardware.values():
        for row in site_bill(plan):
            total[row.item] += row.count
    yield from _columns([(f"{count:,}", item.replace("_", " ")) for item, count in total.items()])


def costs(network: Network) -> Iterator[str]:
    """What the network costs by the prices of its file; nothing where there are none."""
    terms, rows = terms_of(network), cost_rows(network)
    if terms is None:
        return
    cost, missing = terms.cost_of(rows), without_price(rows)
    for sentence in cost_sentences(cost, missing, terms, network.prices.currency):
        yield from wrap(sentence, 76)
    yield ""
    yield from _columns([ITEM_HEADS, *item_rows_of(rows, terms)])
    if network.prices.visit is not None:
        yield "Journeys of crews and spares used by repairs are counted by a run."


def _limits(numbers: Iterable[float]) -> str:
    found = [float(f"{number:.3g}") for number in numbers]
    low, high = min(found), max(found)
    return f"{low:g}" if low == high else f"{low:g}-{high:g}"


def _span(values: Sequence[object]) -> str:
    """What some entries state: the limits of numbers, a few words, or how many there are."""
    if all(isinstance(value, int | float) and not isinstance(value, bool) for value in values):
        numbers = [float(value) for value in values]  # type: ignore[arg-type]
        low, high = min(numbers), max(numbers)
        return f"{low:g}" if low == high else f"{low:g} to {high:g}"
    words = list(dict.fromkeys(_word(value) for value in values))
    return ", ".join(words) if len(words) <= MOST_NAMES else f"{len(words)} different"


def _word(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, dict):
        return f"{len(value)} given"
    if isinstance(value, tuple) and value and isinstance(value[0], Modulation):
        return f"{' '.join(str(step.states) for step in value)} states"
    if isinstance(value, tuple):
        return f"a list of {len(value)}"
    return str(value)


def _columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Rows with their columns under one another."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
