"""The command line: a short table of verbs, each in a file of its own that is imported only when used."""

import argparse
import importlib
import sys
from collections.abc import Sequence
from types import ModuleType

VERBS = {
    "check": "one page on a network file: what differs from the defaults, hardware, doubts; or all values",
    "predict": "each hop and service by the published standards alone, without simulation",
    "simulate": "simulate many years and write the results to a folder",
    "compare": "simulate plans laid over a network on the same random numbers, and their differences",
    "report": "write one web page, readable offline, from the results of a run",
    "explain": "the worst outages of a service in a run, and the whole story of one of them",
    "importance": "what each service would gain had a hop, site, part or cause never gone wrong",
    "modulation": "adaptive against fixed modulation on the same weather, for hops and services",
    "promise": "how likely a year breaks a target, and which target can be promised",
    "textbook": "from the textbook sum of each service to its simulated outage, step by step",
    "schema": "print the JSON Schema of the network file",
}
"""Verb to what it does; verb ``x`` lives in ``sim.commands.x``."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return its exit status: 0 done, 1 a stopped or failed run, 2 unusable input."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    verb = words[0] if words else ""
    if verb not in VERBS:
        return _no_verb(verb)
    module = importlib.import_module(f"hopyears.sim.commands.{verb}")
    parser = argparse.ArgumentParser(prog=f"hopyears {verb}", description=VERBS[verb])
    module.add_arguments(parser)
    return _guarded(module, parser.parse_args(words[1:]))


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
    lines += [f"  {name:<{width}}  {text}" for name, text in VERBS.items()]
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
