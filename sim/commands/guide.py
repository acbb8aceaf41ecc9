"""``hopyears guide``: the pages of the guide in the terminal."""

import argparse
from pathlib import Path

PAGES = Path(__file__).parents[1] / "guide"

TITLES = {
    "tour": "ten minutes from your own tables to a first true answer",
    "architect": "how to plan: which scheme, which route, what it buys",
    "operator": "how to run: what fails, crews, spares, power, planned work",
    "analyst": "how to judge: intervals, promises, textbook, measured data",
    "running": "network files, runs and what comes out",
    "cluster": "many years on many machines, and what a large network costs",
    "choosing": "plans laid over a network, what to buy, prices and penalties",
    "glossary": "the trade's terms in a sentence each",
    "science": "what is computed, by which source, and where it ends",
    "commands": "every verb with every option",
    "network": "every field of the network file",
    "columns": "every column of the results",
    "constants": "every number that decides a result and is no field, and why",
}
"""Page to what it tells; the first three kinds of reader come first."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """PAGE, or the list of pages."""
    parser.add_argument("page", nargs="?", metavar="PAGE", help="a page of the list (default tour)")
    parser.add_argument("--list", action="store_true", help="name the pages and what each tells")


def run(options: argparse.Namespace) -> int:
    """Show a page, set for a terminal; as it stands where the output goes elsewhere."""
    from rich.console import Console
    from rich.markdown import Markdown

    from hopyears.models.basics.faults import one_of, suggestion
    from hopyears.sim.inputs.input_errors import InputError, shown

    if options.list:
        width = max(map(len, TITLES))
        print("\n".join(f"{page:<{width}}  {title}" for page, title in TITLES.items()))
        return 0
    page = options.page or "tour"
    if page not in TITLES:
        sentence = f"page is {shown(page)}; must be {one_of(TITLES)}. {suggestion(page, TITLES)}"
        raise InputError.one(f"{sentence.rstrip()} (hopyears guide --list)")
    text = (PAGES / f"{page}.md").read_text(encoding="utf-8")
    console = Console()
    if not console.is_terminal:
        print(text, end="")
        return 0
    with console.pager(styles=True):
        console.print(Markdown(text))
    return 0
