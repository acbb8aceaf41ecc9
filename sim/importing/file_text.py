"""The text of an imported network file: each entry with the row that it comes from and notes on guesses."""

from collections.abc import Iterator, Mapping

from hopyears.sim.importing.made import Made
from hopyears.sim.importing.network import Imported
from hopyears.sim.importing.toml_text import pair, quoted

_HEADS = {
    "radios": "Radios, one for each type and set of modulations.",
    "antennas": "Antennas, one for each size.",
    "sites": "Sites.",
    "hops": "Hops.",
    "services": "Services.",
}


def network_text(imported: Imported, title: str, made_by: str) -> str:
    """Text of the network file.

    Parameters
    ----------
    imported : Imported
    title : str
    made_by : str
        What the file was made from, for its first line.
    """
    lines = [
        f"# {made_by}",
        "# The same command writes it anew; what you add here by hand it does not keep.",
        "",
    ]
    lines.append(f"title = {quoted(title)}")
    for key, entries in imported.made.items():
        if entries:
            lines += ["", f"# {_HEADS[key]}"]
            lines += [line for entry in entries for line in _entry(key, entry)]
    return "\n".join(lines) + "\n"


def _entry(key: str, entry: Made) -> Iterator[str]:
    yield ""
    yield f"[[{key}]]  # {entry.origin}"
    for field, value in entry.data.items():
        note = entry.notes.get(field, "")
        comment = f"  # guess: {note}" if note else ""
        if field == "modulations" and isinstance(value, list):
            yield f"modulations = [{comment}"
            yield from (f"    {_inline(step)}," for step in value)
            yield "]"
        else:
            yield pair(field, value) + comment


def _inline(step: Mapping[str, object]) -> str:
    return "{ " + ", ".join(pair(key, value) for key, value in step.items()) + " }"
