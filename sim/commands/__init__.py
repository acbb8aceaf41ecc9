"""The command line: a short table of verbs, each in a file of its own that is imported only when used."""

import argparse
import gc
import importlib
import os
import signal
import sys
import textwrap
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from types import FrameType, ModuleType

VERBS = {
    "new": "write a small commented network file to start from",
    "import": "make a network file from tables of sites, hops and services: CSV, workbook, GeoJSON",
    "check": "one page on a network file: what differs from the defaults, hardware, doubts; or all values",
    "predict": "each hop and service by the published standards alone, without simulation",
    "simulate": "simulate many years and write the results to a folder",
    "compare": "simulate plans laid over a network on the same random numbers, and their differences",
    "advise": "what to buy, in which order, within a budget or for the availability of a service",
    "geojson": "a network, or a run with its figures, as GeoJSON for any map program",
    "show": "any table of a run, on the terminal, as CSV or as JSON",
    "report": "write one web page, readable offline, from the results of a run",
    "explain": "the worst outages of a service in a run, and the whole story of one of them",
    "importance": "unavailable time saved had a hop, site, kind of part or cause never gone wrong",
    "modulation": "adaptive against fixed modulation on the same weather, for hops and services",
    "promise": "which contracts are kept, how likely they are broken, and what can be promised",
    "textbook": "from the textbook sum of each service to its simulated outage, step by step",
    "guide": "pages to read: a tour, how-tos, glossary, science, reference",
    "schema": "print the JSON Schema of the network file",
    "completion": "print the script that lets a shell complete verbs, options and files",
}
"""Verb to what it does; verb ``x`` lives in ``sim.commands.x`` unless ``MODULES`` says another."""

MODULES = {"import": "import_tables"}
"""Verbs whose name no module can have."""

FEW_COLLECTIONS = (50_000, 20, 10)
"""Python looks for what refers to itself so seldom: libraries make much that stays, to be looked through
again and again (a sixth of the time of their imports)."""

NEVER_AMID = (
    "multiprocessing.popen_forkserver",
    "multiprocessing.popen_spawn_posix",
    "multiprocessing.util",
    "weakref",
)
"""Modules amid which a stop waits: those that tell a new worker what it is, which would report what it was
not told, and those that call what an object asked for at its end."""

ASK_AGAIN_S = 0.01
"""When a stop that came where no error gets out is asked for again."""

STATUSES = "exit status: 0 done; 1 stopped by Ctrl-C, or failed; 2 unusable input or command"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return its exit status, of ``STATUSES``; Ctrl-C anywhere is one line."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    gc.set_threshold(*FEW_COLLECTIONS)
    stop = _Stop()
    with stop.heard():
        try:
            return _run(words, stop)
        except BaseException as error:  # a library may have made another error of the stop
            if not (stop.asked or isinstance(error, KeyboardInterrupt)):
                raise
            print(f"stopped{stop.kept()}", file=sys.stderr)
            return 1


def module_of(verb: str) -> ModuleType:
    """Module of a verb."""
    return importlib.import_module(f"hopyears.sim.commands.{MODULES.get(verb, verb)}")


def _run(words: Sequence[str], stop: "_Stop") -> int:
    verb = words[0] if words else ""
    if verb not in VERBS:
        return _no_verb(verb)
    module = module_of(verb)
    parser = argparse.ArgumentParser(prog=f"hopyears {verb}", description=VERBS[verb], epilog=STATUSES)
    module.add_arguments(parser)
    stop.goes_on = getattr(module, "GOES_ON", "")
    stop.options = parser.parse_args(words[1:])
    return _guarded(module, stop.options)


def _guarded(module: ModuleType, options: argparse.Namespace) -> int:
    # Of a stop amid this import a library written in Rust would make a report of its own.
    importlib.import_module("datetime")
    from hopyears.sim.commands.run_options import wants_workers

    if wants_workers(options):
        from hopyears.sim.runs.processes import start_server

        start_server()
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.storage.whole_file import RunError

    try:
        status: int = module.run(options)
        sys.stdout.flush()
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except RunError as error:
        return _failed(str(error))
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        return _failed(f"{error.filename}: {reason}" if error.filename else reason)
    except MemoryError as error:
        return _failed(f"out of memory ({error}); fewer --workers need less")
    return status


def _failed(sentence: str) -> int:
    print(sentence, file=sys.stderr)
    return 1


class _Stop:
    """Makes KeyboardInterrupt of Ctrl-C and of a polite request to end, and remembers that it was asked."""

    def __init__(self) -> None:
        self.asked = False
        self.options = argparse.Namespace()
        self.goes_on = ""

    @contextmanager
    def heard(self) -> Iterator[None]:
        """Listen while the context lasts; outside the main thread nothing can be heard."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGALRM)
        before = {each: signal.signal(each, self._stopped) for each in numbers}
        tell = sys.unraisablehook

        def lost(error: "sys.UnraisableHookArgs") -> None:
            """Called with an error that a library lets go of: a stop is asked for again."""
            if self.asked and issubclass(error.exc_type, KeyboardInterrupt):
                signal.setitimer(signal.ITIMER_REAL, ASK_AGAIN_S)
            else:
                tell(error)

        sys.unraisablehook = lost
        try:
            yield
        finally:
            sys.unraisablehook = tell
            signal.setitimer(signal.ITIMER_REAL, 0.0)
            for each, handler in before.items():
                signal.signal(each, handler)

    def _stopped(self, number: int, frame: FrameType | None) -> None:
        self.asked = True
        if _waits(frame):  # Python would print the error and go on as if nobody had asked
            signal.setitimer(signal.ITIMER_REAL, ASK_AGAIN_S)
        else:
            raise KeyboardInterrupt

    def kept(self) -> str:
        """What is kept of the work, for a verb that keeps any."""
        if not self.goes_on:
            return ""
        if getattr(self.options, "out", None) is None:
            return "; nothing is kept without --out"
        return f"; finished blocks are kept in {self.options.out}, {self.goes_on}"


def _waits(frame: FrameType | None) -> bool:
    """Whether a stop must wait: a new worker is being told, or what runs is called by the end of an object's
    life, out of which no error comes."""
    while frame is not None:
        if frame.f_code.co_name in ("__del__", "weakref_cb") or frame.f_globals.get("__name__") in NEVER_AMID:
            return True
        frame = frame.f_back
    return False


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
    from hopyears.models.basics.faults import suggestion

    hint = suggestion(verb, VERBS) or "hopyears --help tells what each does."
    print(f"hopyears: verb is {found}; must be one of {', '.join(VERBS)}. {hint}", file=sys.stderr)
    return 2
