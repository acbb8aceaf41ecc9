"""``hopyears import``: a network file from tables of sites, hops and services as others export them."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hopyears.sim.importing.network import Imported
    from hopyears.sim.importing.proposal import Source

WHERE_SHOWN = 6
"""Rows that are named behind a guess; of more, their number."""
UNREAD_SHOWN = 40


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Tables, mapping, hubs and where the network file goes."""
    parser.add_argument(
        "--sites",
        metavar="FILE",
        help="table of sites: CSV, workbook or GeoJSON; not needed where hops carry both places",
    )
    parser.add_argument(
        "--hops", metavar="FILE", required=True, help="table of hops: CSV, workbook or GeoJSON"
    )
    parser.add_argument("--services", metavar="FILE", help="table of services, each between two sites")
    parser.add_argument(
        "--out", metavar="FILE.toml", default="network.toml", help="network file (default network.toml)"
    )
    parser.add_argument(
        "--mapping",
        metavar="FILE.toml",
        help="which column is which field: read if it is there, else proposed and written "
        "(default beside the network file, as network.mapping.toml)",
    )
    parser.add_argument(
        "--hub",
        metavar="SITE",
        action="append",
        default=[],
        help="add a service from every site to this one; again for more",
    )
    parser.add_argument("--replace", action="store_true", help="write over a network file that is there")


def run(options: argparse.Namespace) -> int:
    """Read the tables, write mapping and network file, and tell what was guessed and what was left out."""
    from hopyears.sim.importing.file_text import network_text
    from hopyears.sim.importing.mapping import read_mapping
    from hopyears.sim.importing.network import network_of
    from hopyears.sim.importing.proposal import proposed, with_mapping, with_points
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.inputs.input_text import write_text

    given = {"sites": options.sites, "hops": options.hops, "services": options.services}
    files = with_points({key: Path(path) for key, path in given.items() if path})
    out = Path(options.out)
    map_file = Path(options.mapping) if options.mapping else out.with_suffix(".mapping.toml")
    if out.exists() and not options.replace:
        raise InputError.one(f"{out}: file is there already; must be a new file, or give --replace")
    known = map_file.exists()
    source = with_mapping(files, read_mapping(map_file), map_file.name) if known else proposed(files)
    _refuse_without_ends(source)
    if not known:
        write_text(map_file, source.text())
    elif source.whys:
        kept = map_file.read_text(encoding="utf-8").rstrip("\n")
        write_text(map_file, f"{kept}\n{source.added_text()}")
    imported = network_of(source, options.hub)
    made_by = (
        f"Made from {' and '.join(table.file for table in source.tables.values())} as {map_file.name} says."
    )
    write_text(out, network_text(imported, out.stem, made_by))
    for line in report(source, imported, out, map_file, known=known):
        print(line)
    return 0


def _refuse_without_ends(source: "Source") -> None:
    from hopyears.sim.inputs.input_errors import InputError, shown

    for key, places in (("hops", ("latitude", "easting")), ("services", ())):
        if key not in source.tables:
            continue
        table, fields = source.tables[key], getattr(source.mapping, key).keys()
        for end in "ab":
            if not fields & {f"{each}_{end}" for each in ("site", "site_name", *places)}:
                columns = ", ".join(map(shown, table.columns[:12]))
                raise InputError.one(
                    f"{table.file}: end {end.upper()} of the {key} is not found among {columns}; must be a "
                    f"column of sites{', or of coordinates,' if places else ''} at each end"
                )


def report(
    source: "Source", imported: "Imported", out: Path, map_file: Path, *, known: bool
) -> Iterator[str]:
    """Lines that tell what was read, on what each column's meaning rests, what is guessed, what left out."""
    from hopyears.sim.wording.wording import plural

    for key, table in source.tables.items():
        how = getattr(source.mapping, f"{key}_table")
        mark = "decimal comma" if how.decimal == "," else "decimal point"
        parted = f"parted by {how.separator}" if how.separator else ""
        details = ", ".join(filter(None, (how.encoding, parted, mark)))
        yield f"{table.file}: {plural(len(table.rows), 'row')} of {key}; {details}"
    yield f"\nColumns ({map_file}{', as it stands' if known else ', new; edit it and run again'})"
    for key in source.tables:
        for field, use in getattr(source.mapping, key).items():
            why = source.whys.get(key, {}).get(field)
            unit = f" [{use.unit}]" if use.unit else ""
            yield f'  {key} {field} = "{use.column}"{unit}' + (f" ({why.why})" if why else "")
        used = {use.column for use in getattr(source.mapping, key).values()}
        refused = source.refused.get(key, {})
        unused = [column for column in source.tables[key].columns if column not in used]
        if unused:
            yield f"  {key}: not used: {', '.join(_quoted(column, refused) for column in unused)}"
    findings = imported.findings
    if findings.guesses:
        yield "\nGuessed or assumed"
        for guess, where in findings.guesses.items():
            yield f"  {guess}: {_rows(where)}"
    for title, lines in (("Doubtful", findings.doubts), ("Not read", findings.unread)):
        if lines:
            yield f"\n{title}"
            yield from (f"  {line}" for line in lines[:UNREAD_SHOWN])
            if len(lines) > UNREAD_SHOWN:
                yield f"  ... and {len(lines) - UNREAD_SHOWN} more"
    yield from _end(imported, out)


def _rows(where: Sequence[str]) -> str:
    """Rows by file: ``hops.csv rows 2, 3, 5 and 12 more``."""
    by_file: dict[str, list[str]] = {}
    for each in dict.fromkeys(where):
        file, _, row = each.rpartition(" row ")
        by_file.setdefault(file, []).append(row)
    parts = []
    for file, rows in by_file.items():
        more = f" and {len(rows) - WHERE_SHOWN} more" if len(rows) > WHERE_SHOWN else ""
        parts.append(f"{file} row{'s' if len(rows) > 1 else ''} {', '.join(rows[:WHERE_SHOWN])}{more}")
    return "; ".join(parts)


def _quoted(column: str, refused: "dict[str, str]") -> str:
    reason = refused.get(column)
    return f'"{column}" ({reason})' if reason else f'"{column}"'


def _end(imported: "Imported", out: Path) -> Iterator[str]:
    from hopyears.sim.wording.wording import plural

    counts = ", ".join(plural(len(entries), key[:-1]) for key, entries in imported.made.items())
    yield f"\n{out}: {counts}"
    if not imported.made["services"]:
        ends = [str(hop.data[end]) for hop in imported.made["hops"] for end in ("from", "to")]
        busiest = max(dict.fromkeys(ends), key=ends.count)
        yield (
            f"No services yet: --services FILE reads a table of them; --hub {busiest} adds one from every "
            "site to the site with most hops."
        )
    yield f"Next: hopyears check {out}"
