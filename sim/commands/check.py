"""``hopyears check``: what a network file says in one page; every value in force on request."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

    from hopyears.sim.commands.check_values import Value


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK and how much to show."""
    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument("--plan", metavar="PLAN", help="check this plan, laid over the network")
    parser.add_argument("--all", action="store_true", help="show every value in force, defaults in brackets")
    parser.add_argument(
        "--out", metavar="FILE.csv", help="write every value in force, with unit, range, meaning and source"
    )


def run(options: argparse.Namespace) -> int:
    """Read, check, and print a page: what differs from the defaults, hops, services, hardware, warnings."""
    import pandas as pd

    from hopyears.sim.blocks.block import BlockSimulator
    from hopyears.sim.blocks.prepared import ModelOptions, prepare
    from hopyears.sim.commands.check_page import PAGE_WIDTH, page
    from hopyears.sim.commands.check_plan import plan_page
    from hopyears.sim.commands.check_values import every_value
    from hopyears.sim.hops.design_doubts import network_doubts
    from hopyears.sim.hops.hop_design import design_hops
    from hopyears.sim.hops.site_hardware import sites_hardware
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.inputs.plan_file import read_plan
    from hopyears.sim.studies.single_failures import single_failures
    from hopyears.sim.wording.names import labels_of, place_name, relabelled
    from hopyears.sim.wording.terminal import say, terminal

    base = read_network(options.network)
    source = base if options.plan is None else read_plan(options.plan, base)
    network = source.network
    designs = design_hops(network)
    doubts = [f"{source.name}: {fault.sentence()}" for fault in network_doubts(network, designs, source.name)]
    hardware = sites_hardware(network)
    values = list(every_value(network, designs))
    alone = ModelOptions(rain=False, multipath=False, anchoring=False)
    labels = labels_of(network)
    failing = relabelled(single_failures(BlockSimulator(prepare(network, alone, designs))), labels)
    failing = failing.assign(what=[place_name(each, labels) for each in failing["what"]])
    console = terminal(PAGE_WIDTH)
    for line in plan_page(source.name, base.network, network) if options.plan else ():
        say(console, line)
    for line in page(source.name, network, designs, hardware, values, failing):
        say(console, line)
    if options.all:
        _print_values(console, values)
    if options.out:
        write_text(Path(options.out), pd.DataFrame(values).to_csv(index=False))
        _print_unbroken(console, f"{options.out}: {len(values)} values")
    elif not options.all:
        say(console, f"All {len(values)} values in force: --all; with meaning and source: --out FILE.csv")
    for warning in dict.fromkeys((*source.warnings, *doubts, *_too_much(source.name, failing))):
        _print_unbroken(console, f"warning: {warning}")
    return 0


def _too_much(name: str, failing: "pd.DataFrame") -> Iterator[str]:
    """A warning for services whose committed rate does not even fit with everything up."""
    for row in failing.to_dict("records"):
        if row["kind"] == "all up" and row["below_committed"]:
            lacking = f"{row['lacking_mbit_s']:,.4g} Mbit/s"
            yield f"{name}: committed rates of {row['services']} do not fit, all up: {lacking} lack"


def _print_unbroken(console: "Console", text: str) -> None:
    """Print one line, however long, so that it can be searched for."""
    console.print(text, highlight=False, markup=False, soft_wrap=True)


def _print_values(console: "Console", values: Sequence["Value"]) -> None:
    """One line a value, those of an entry under its name; defaults in brackets."""
    from hopyears.sim.wording.terminal import say

    entry = None
    for value in values:
        if value.entry != entry:
            entry = value.entry
            say(console, f"\n{entry}")
        text = value.value if value.default == "no" else f"({value.value})"
        say(console, f"  {value.field}  {text} {value.unit}".rstrip())
