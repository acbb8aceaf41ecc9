"""``hopyears check``: what a network file says, with every default in force and the hardware it needs."""

import argparse
from collections.abc import Iterable

from hopyears.sim.wording.terminal import ROWS_SHOWN

COLUMNS_SHOWN = 12
"""Of an entry with more fields, those that no entry states are told in one line, not in columns."""

HEADING_WIDTH = 10
"""Characters of a line of a heading, unless one word is longer."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK and how much to show."""
    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "--all", action="store_true", help=f"show every entry, not only the first {ROWS_SHOWN}"
    )


def run(options: argparse.Namespace) -> int:
    """Read, check, and print entries, defaults, hardware and warnings."""
    from rich.console import Console

    from hopyears.sim.hops.design_doubts import network_doubts
    from hopyears.sim.hops.hop_design import design_hops
    from hopyears.sim.inputs.network_file import read_network

    source = read_network(options.network)
    network = source.network
    designs = design_hops(network)
    doubts = [f"{source.name}: {fault.sentence()}" for fault in network_doubts(network, designs, source.name)]
    console = Console(width=None if Console().is_terminal else 200)
    console.print(f"{source.name}: {network.title}", highlight=False, markup=False)
    console.print(
        f"{len(network.sites)} sites, {len(network.hops)} hops, {len(network.services)} services. "
        "Values in brackets are defaults.",
        highlight=False,
    )
    limit = None if options.all else ROWS_SHOWN
    for name in (
        "sites",
        "radios",
        "antennas",
        "hops",
        "services",
        "power",
        "crews",
        "depots",
        "maintenance",
    ):
        _print_entries(console, name, getattr(network, name), limit)
    for name in ("climate", "switching", "losses", "repair", "lightning"):
        _print_entries(console, name, (getattr(network, name),), limit)
    _print_modulations(console, network)
    _print_climate(console, designs[:limit])
    _print_part_kinds(console, network)
    _print_hardware(console, network, limit)
    for warning in (*source.warnings, *doubts):
        console.print(f"warning: {warning}", highlight=False, markup=False)
    return 0


def _print_entries(console, name: str, entries: Iterable, limit: int | None) -> None:  # type: ignore[no-untyped-def, type-arg]
    """One table per kind of entry: a column per field; defaults in brackets."""
    from rich.table import Table

    entries = tuple(entries)
    if not entries:
        return
    model = type(entries[0])
    table = Table(title=name, title_justify="left", header_style="", show_edge=False, pad_edge=False)
    fields = list(model.model_fields)
    alike: list[str] = []
    if len(fields) > COLUMNS_SHOWN and len(entries) > 1:
        alike = [field for field in fields if all(field not in entry.model_fields_set for entry in entries)]
        fields = [field for field in fields if field not in alike]
    for field in fields:
        table.add_column(_heading(_name(model, field)), overflow="fold")
    for entry in entries[:limit]:
        table.add_row(*(_cell(entry, field) for field in fields))
    console.print(table, highlight=False, markup=False)
    if alike:
        told = ", ".join(f"{_name(model, field)} {_cell(entries[0], field)}" for field in alike)
        console.print(f"the same in all {name}: {told}", highlight=False, markup=False)
    if limit is not None and len(entries) > limit:
        console.print(f"... and {len(entries) - limit} more {name} (--all shows them)", highlight=False)


def _name(model, field: str) -> str:  # type: ignore[no-untyped-def]
    """The field's name in the file."""
    name: str = model.model_fields[field].alias or field
    return name


def _heading(name: str) -> str:
    """A field's name, broken after underscores into short lines: a table has many columns."""
    lines = [""]
    for word in name.replace("_", "_ ").split():
        if lines[-1] and len(lines[-1] + word) > HEADING_WIDTH:
            lines.append("")
        lines[-1] += word
    return "\n".join(lines)


def _cell(entry, field: str) -> str:  # type: ignore[no-untyped-def]
    value = getattr(entry, field)
    if field == "modulations":
        value = ", ".join(str(step.states) for step in value)
    text = "-" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return text if field in entry.model_fields_set else f"({text})"


def _print_modulations(console, network) -> None:  # type: ignore[no-untyped-def]
    """What each modulation of a radio needs and carries, on the channel of the first hop that uses it."""
    from rich.table import Table

    from hopyears.sim.hops.modulation_steps import steps_of

    fields = {
        "required_snr_db": "required_snr_db",
        "threshold_dbm": "threshold_dbm",
        "capacity_mbit_s": "capacity_mbit_s",
        "transmit_backoff_db": "backoff_db",
        "signature_depth_db": "signature_depth_db",
    }
    table = Table(title="modulations", title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for column in ("radio", "channel, MHz", "states", *fields):
        table.add_column(column)
    for radio in network.radios:
        hop = next((hop for hop in network.hops if hop.radio == radio.id), None)
        if hop is None:
            continue
        steps = steps_of(hop, radio)
        stated = {step.states: step for step in radio.modulations}
        for number, states in enumerate(steps.states.tolist()):
            cells = [
                f"{getattr(steps, name)[number]:.4g}"
                if getattr(stated[states], field) is not None
                else f"({getattr(steps, name)[number]:.4g})"
                for field, name in fields.items()
            ]
            table.add_row(radio.id, f"{hop.channel_width_mhz:g}", str(states), *cells)
    console.print(table, highlight=False, markup=False)


def _print_climate(console, designs) -> None:  # type: ignore[no-untyped-def]
    """What the maps, and the climate table of the file, say of each hop."""
    from rich.table import Table

    table = Table(title="hop climate", title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for column in ("hop", "rain 0.01 %, mm/h", "antennas, m", "rain height, m", "precipitation"):
        table.add_column(column)
    for design in designs:
        heights = sorted((design.path.height_a_m, design.path.height_b_m))
        table.add_row(
            design.hop.id,
            f"{design.climate.rain_rate_001_mm_h:.1f}",
            "{:.0f} and {:.0f}".format(*heights),
            f"{design.climate.rain_height_m:.0f}",
            design.rain.precipitation.kind,
        )
    console.print(table, highlight=False, markup=False)


def _print_part_kinds(console, network) -> None:  # type: ignore[no-untyped-def]
    from rich.table import Table

    from hopyears.sim.equipment.plant_builder import part_kinds

    changed = {change.kind for change in network.parts}
    table = Table(title="part kinds", title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for column in (
        "kind",
        "mtbf_h",
        "life",
        "mended by",
        "swap_h",
        "latent share",
        "affecting share",
        "spare",
    ):
        table.add_column(column)
    for key, kind in part_kinds(network.parts).items():
        life = kind.life.kind.name.lower()
        row = (
            key,
            f"{kind.life.mean_h:,.0f}",
            life if life == "exponential" else f"{life} {kind.life.spread:g}",
            kind.repair.name.lower(),
            f"{kind.mend.mean_h:g}",
            f"{kind.latent_share:g}",
            f"{kind.affecting_share:g}",
            kind.spare or "-",
        )
        table.add_row(*(row if key in changed else (key, *(f"({cell})" for cell in row[1:]))))
    console.print(table, highlight=False, markup=False)


def _print_hardware(console, network, limit: int | None) -> None:  # type: ignore[no-untyped-def]
    from rich.table import Table

    from hopyears.models.equipment.hardware import bill_of
    from hopyears.models.equipment.indoor_unit import site_bill
    from hopyears.sim.equipment.site_hardware import sites_hardware
    from hopyears.sim.hops.hop_parts import hop_parts

    table = Table(title="hardware", title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for column in ("place", "item", "count", "why"):
        table.add_column(column)
    for hop in network.hops[:limit]:
        for row in bill_of(hop_parts(network, hop)):
            table.add_row(row.place, row.item, str(row.count), row.why)
    warnings = []
    for number, plan in enumerate(sites_hardware(network).values()):
        if limit is None or number < limit:
            for row in site_bill(plan):
                table.add_row(row.place, row.item, str(row.count), row.why)
        warnings += [fault.sentence() for fault in plan.warnings]
    console.print(table, highlight=False, markup=False)
    for warning in warnings:
        console.print(f"warning: {warning}", highlight=False, markup=False)
