"""The page of the guide that lists every verb with its options, made from the parsers themselves.

``python -m hopyears.sim.commands.help_page`` writes it anew.
"""

import argparse
from collections.abc import Iterator

from hopyears.sim.commands import STATUSES, VERBS, module_of
from hopyears.sim.commands.check_values import value_text
from hopyears.sim.commands.fixed_values import FIXED
from hopyears.sim.commands.guide import PAGES

LONGEST_SHOWN = 40
"""Characters of a constant's value up to which the page shows it."""


def commands_page() -> str:
    """Text of the page; of the parsers' parts, since how Python lays out a help text differs by version."""
    lines = [
        "# Every verb and its options",
        "",
        f"`hopyears VERB --help` tells the same. {STATUSES.capitalize()}.",
    ]
    for verb, what in VERBS.items():
        parser = argparse.ArgumentParser(prog=verb, add_help=False)
        module_of(verb).add_arguments(parser)
        lines += ["", f"## {verb}", "", f"{what[0].upper()}{what[1:]}.", ""]
        lines += _rows(parser)
    return "\n".join(lines) + "\n"


def _rows(parser: argparse.ArgumentParser) -> Iterator[str]:
    if not parser._actions:
        return
    yield "| argument | meaning |"
    yield "| --- | --- |"
    for action in parser._actions:
        value = action.metavar or (action.dest.upper() if action.nargs != 0 else "")
        words = " or ".join(action.option_strings) or str(value)
        written = f"{words} {value}".strip() if action.option_strings else words
        meaning = (action.help or "").replace("%%", "%").replace("|", "\\|")
        yield f"| `{written}` | {meaning}{'; must be given' if action.required else ''} |"


def constants_page() -> str:
    """Constants that decide a result and are no field, with their values."""
    lines = [
        "# Constants that are no field",
        "",
        "Whatever else decides a result is a field of the network file or an option.",
        "`hopyears check NETWORK --out FILE.csv` lists all of it, these too.",
        "",
        "| constant | value | what it is | why it is no field |",
        "| --- | --- | --- | --- |",
    ]
    for fixed in FIXED:
        value = f"{value_text(fixed.value)} {fixed.unit}".strip()
        shown = value if len(value) <= LONGEST_SHOWN else "several, in the module"
        lines.append(f"| `{fixed.module}.{fixed.name}` | {shown} | {fixed.meaning} | {fixed.reason} |")
    return "\n".join(lines) + "\n"


def write_pages() -> None:
    """Write the pages into the guide."""
    for name, text in (("commands", commands_page()), ("constants", constants_page())):
        (PAGES / f"{name}.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_pages()
