"""The command line: a short table of verbs, each in a file of its own that is imported only when used."""

import argparse
import importlib
import sys
import textwrap
from collections.abc import Sequence
from types import ModuleType

VERBS = {
    "new": "write a small commented network file to start from",
    "import": "make a network file from tables of sites and hops, as CSV, workbook or GeoJSON",
    "check": "one page on a network file: what differs from the defaults, hardware, doubts; or all values",
    "predict": "each hop and service by the published standards alone, without simulation",
    "simulate": "simulate many years and write the results to a folder",
    "compare": "simulate plans laid over a network on the same random numbers, and their differences",
    "geojson": "a network, or a run with its figures, as GeoJSON for any map program",
    "show": "any table of a run, on the terminal, as CSV or as JSON",
    "report": "write one web page, readable offline, from the results of a run",
    "explain": "the worst outages of a service in a run, and the whole story of one of them",
    "importance": "unavailable time saved had a hop, site, kind of part or cause never gone wrong",
    "modulation": "adaptive against fixed modulation on the same weather, for hops and services",
    "promise": "how likely a year breaks a target, and which target can be promised",
    "textbook": "from the textbook sum of each service to its simulated outage, step by step",
    "guide": "pages to read: a tour, how-tos, glossary, science, reference",
    "schema": "print the JSON Schema of the network file",
    "completion": "print the script that lets a shell complete verbs, options and files",
}
"""Verb to what it does; verb ``x`` lives in ``sim.commands.x`` unless ``MODULES`` says another."""

MODULES = {"import": "import_tables"}
"""Verbs whose name no module can have."""

STATUSES = "exit status: 0 done; 1 stopped by Ctrl-C, or failed; 2 unusable input or command"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return its exit status, of ``STATUSES``; Ctrl-C anywhere is one line."""
    try:
        return _run(arguments)
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 1


def _run(arguments: Sequence[str] | None) -> int:
    words = list(sys.argv[1:] if arguments is None else arguments)
    verb = words[0] if words else ""
    if verb not in VERBS:
        return _no_verb(verb)
    module = module_of(verb)
    parser = argparse.ArgumentParser(prog=f"hopyears {verb}", description=VERBS[verb], epilog=STATUSES)
    module.add_arguments(parser)
    return _guarded(module, parser.parse_args(words[1:]))


def module_of(verb: str) -> ModuleType:
    """The module of a verb, loaded now."""
    return importlib.import_module(f"hopyears.sim.commands.{MODULES.get(verb, verb)}")


def _guarded(module: ModuleType, options: argparse.Namespace) -> int:
    if _wants_workers(options):
        from hopyears.sim.runs.processes import begin_early

        begin_early()
    from hopyears.sim.inputs.network_file import InputError

    try:
        status: int = module.run(options)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    return status


def _wants_workers(options: argparse.Namespace) -> bool:
    """Whether a verb may have blocks for more than one worker."""
    if getattr(options, "workers", 1) < 2:
        return False
    several: bool = options.blocks > 1 if "blocks" in options else options.years > options.block_years
    return several


def _no_verb(verb: str) -> int:
    width = max(map(len, VERBS))
    lines = ["usage: hopyears VERB ... (hopyears VERB --help tells more)", "", "verbs:"]
    for name, text in VERBS.items():
        lines += textwrap.wrap(
            f"{name:<{width}}  {text}", 78, initial_indent="  ", subsequent_indent=" " * (width + 4)
        )
    lines += ["", STATUSES]
    if verb in ("-h", "--help"):
        print("\n".join(lines))
        return 0
    if verb == "--version":
        from importlib.metadata import version

        print(f"hopyears {version('hopyears')}")
        return 0
    found = f'"{verb}"' if verb else "missing"
    print(f"hopyears: verb is {found}; must be one of {', '.join(VERBS)}", file=sys.stderr)
    return 2
