"""Reference pages: every column of the results, and every field of the network file, as Markdown.

They are generated and stand in ``sim/guide``; ``python -m hopyears.sim.wording.reference`` writes them anew.
"""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from hopyears.models.network.entry import LEAST
from hopyears.sim.counting.result_tables import ENDS, TABLES
from hopyears.sim.inputs.input_errors import IDENTIFIER_WORDS, allowed_words
from hopyears.sim.inputs.network_build import ENTRY_LISTS, SINGLE_ENTRIES
from hopyears.sim.inputs.network_file import file_schema
from hopyears.sim.wording.columns import NOTHING_SEEN, described
from hopyears.sim.wording.fields import source_of, unit_of

GUIDE = Path(__file__).parents[1] / "guide"
"""Folder of the pages, inside the package."""


def pages() -> dict[str, str]:
    """Name of each page to its text."""
    return {"columns.md": columns_page(), "network.md": network_page()}


def write_pages(folder: Path = GUIDE) -> None:
    """Write every page into a folder."""
    for name, text in pages().items():
        (folder / name).write_text(text, encoding="utf-8")


def columns_page() -> str:
    """Every table of results, column by column."""
    lines = [
        "# Columns of the result tables",
        "",
        "Units stand in the names too. A figure `x` with an interval has columns `x`, `x_low` and `x_high`: "
        "the 95 % interval, from independent blocks of years. Unless stated otherwise `x` is "
        f"{NOTHING_SEEN}.",
        "",
        "Tables lie in the folder `tables` of a run (Parquet) and in `hopyears.open_run(FOLDER).tables`; "
        "`hopyears.columns(TABLE)` gives these words.",
    ]
    for table, words in TABLES.items():
        lines += ["", f"## {table}", "", f"One row is {words.row}.", ""]
        lines += _table(("column", "unit", "meaning"), _column_rows(table))
    return "\n".join(lines) + "\n"


def _column_rows(table: str) -> Iterator[tuple[str, str, str]]:
    """One row for a figure and its limits."""
    every = [name for name, _ in described(table)]
    for name, words in described(table):
        if any(name.endswith(end) and name.removesuffix(end) in every for end in ENDS):
            continue
        limits = f" (`{'`, `'.join(ENDS)}`)" if f"{name}{ENDS[0]}" in every else ""
        unseen = words.unseen if words.unseen != NOTHING_SEEN else ""
        yield f"`{name}`{limits}", words.unit, "; ".join(filter(None, (words.meaning, unseen)))


def network_page() -> str:
    """Every entry of the network file, field by field, from its schema."""
    schema = file_schema()
    lines = [
        "# Fields of the network file",
        "",
        f"A TOML file. A name has {IDENTIFIER_WORDS}; a number above 0 is at least {LEAST:g}. "
        "Entries in double brackets may be given again and again, those in single brackets once. "
        "What stands for a default that is empty, the meaning says. `hopyears check NETWORK` shows what is "
        "in force, `hopyears schema` prints the JSON Schema.",
        "",
        "## the file itself",
        "",
    ]
    entries = {**ENTRY_LISTS, **dict.fromkeys(SINGLE_ENTRIES)}
    top = {name: rule for name, rule in schema["properties"].items() if name not in entries}
    lines += _table(_HEADS, _field_rows(top, schema["required"]))
    for name in entries:
        model = _model_of(schema, schema["properties"][name])
        title = f"[[{name}]]" if name in ENTRY_LISTS else f"[{name}]"
        lines += ["", f"## {title}", "", f"{model['description']}", ""]
        lines += _table(_HEADS, _field_rows(model["properties"], model.get("required", ())))
        for field, rule in model["properties"].items():
            inner = rule.get("items", {})
            if "$ref" in inner:
                part = _model_of(schema, inner)
                lines += ["", f"### {field} of {title}", "", f"{part['description']}", ""]
                lines += _table(_HEADS, _field_rows(part["properties"], part.get("required", ())))
    return "\n".join(lines) + "\n"


_HEADS = ("field", "unit", "default", "allowed", "meaning", "source of the default")


def _model_of(schema: Mapping[str, Any], rule: Mapping[str, Any]) -> Mapping[str, Any]:
    """The entry that a property of the file holds, alone or as a list."""
    reference = rule.get("$ref") or rule.get("items", {}).get("$ref", "")
    found: Mapping[str, Any] = schema["$defs"][reference.rsplit("/", 1)[-1]]
    return found


def _field_rows(properties: Mapping[str, Any], required: Sequence[str]) -> Iterator[tuple[str, ...]]:
    for field, rule in properties.items():
        choice = next((each for each in rule.get("anyOf", ()) if each.get("type") != "null"), rule)
        default = rule.get("default")
        yield (
            f"`{field}`",
            unit_of(field),
            "must be given" if field in required else _default(default),
            "a name" if "pattern" in choice else allowed_words(choice),
            rule.get("description", ""),
            source_of(field, default),
        )


def _default(value: Any) -> str:
    """A default for reading; a list of entries is described by the field's meaning."""
    if value is None or value == {} or (isinstance(value, list) and value and isinstance(value[0], dict)):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, int | float) else str(value) or "empty"


def _table(heads: Sequence[str], rows: Iterator[tuple[str, ...]]) -> list[str]:
    lines = [heads, ["---"] * len(heads), *rows]
    return ["| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines]


if __name__ == "__main__":
    write_pages()
