"""``hopyears completion``: a script for the shell, made by shtab from the verbs and their options."""

import argparse

SHELLS = ("bash", "zsh", "tcsh")
FILES = frozenset(
    (
        *("network", "source", "sites", "hops", "mapping", "folder", "plan", "run"),
        *("out", "csv", "json", "to", "page", "against"),
    )
)
"""Arguments that name a file or a folder."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SHELL."""
    parser.add_argument(
        "shell",
        choices=SHELLS,
        help="for bash: hopyears completion bash > ~/.local/share/bash-completion/completions/hopyears",
    )


def run(options: argparse.Namespace) -> int:
    """Print the script."""
    import shtab

    print(shtab.complete(_every_verb(), options.shell))
    return 0


def _every_verb() -> argparse.ArgumentParser:
    """One parser with all verbs, as nothing else needs it."""
    import shtab

    from hopyears.sim.commands import VERBS, module_of

    parser = argparse.ArgumentParser(prog="hopyears")
    verbs = parser.add_subparsers()
    for verb, what in VERBS.items():
        one = verbs.add_parser(verb, help=what)
        module_of(verb).add_arguments(one)
        for action in one._actions:
            if action.dest in FILES:
                action.complete = shtab.FILE  # type: ignore[attr-defined]
    return parser
