"""What the columns of a table mean: told from their names, then from what their cells hold."""

import re
from collections.abc import Mapping, Sequence
from statistics import median
from typing import NamedTuple

from hopyears.sim.importing.cells import (
    PRETTY,
    UNITS,
    angle,
    modulations,
    number,
    plain,
    polarisations,
    protection,
    scheme,
)
from hopyears.sim.importing.table_file import Table
from hopyears.sim.importing.vocabulary import AT_BOTH_ENDS, ENDS, NEEDS_AN_END, Meaning

CELLS_TRIED = 300
Pair = tuple[frozenset[str], frozenset[str]]

LEAST_SHARE = 0.6
"""Share of a column's cells that must read as what its name says."""


class Header(NamedTuple):
    """Name of a column in parts: what it says, which end it is for ("a", "b" or none), its unit."""

    column: str
    says: str
    end: str
    unit: str


class Use(NamedTuple):
    """A column that holds a field, the unit of its cells, and what that rests on."""

    column: str
    unit: str
    why: str


def headers_of(columns: Sequence[str]) -> list[Header]:
    """Names of columns taken apart; a word such as A or "from" is an end where its counterpart is there."""
    parted = [_unit_apart(column) for column in columns]
    words = [says.split() for says, _ in parted]
    ends = [_end_of(place, words) for place in range(len(words))]
    known = [pair for pair in ENDS[:-1] if any(_by_pair(place, words, pair) for place in range(len(words)))]
    ends = [each if each[0] else _alone(mine, known) or each for each, mine in zip(ends, words, strict=True)]
    return [
        Header(column, rest, end, unit)
        for column, (_, unit), (end, rest) in zip(columns, parted, ends, strict=True)
    ]


def _unit_apart(column: str) -> tuple[str, str]:
    """A name without its unit, and the unit."""
    split = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=[A-Z])(?=[A-Z][a-z])", " ", column)
    unit = ""
    for found in re.findall(r"[\[(]\s*([^\])]+?)\s*[\])]", column):
        if found.lower() in UNITS:
            unit = found.lower()
            split = re.sub(r"[\[(][^\])]*[\])]", " ", split)
    joined = re.sub(
        r"\b([gmk]) (hz)\b|\b(d) (b[midw]?)\b|\b(m) (w)\b", _glued, plain(split.replace("+", " "))
    )
    words = joined.replace("mbit s", "mbps").split()
    if not unit and len(words) > 1 and words[-1] in UNITS and words[-1] != "in":
        unit = words.pop()
    return " ".join(words), unit


def _glued(match: re.Match[str]) -> str:
    return "".join(part for part in match.groups() if part)


def _end_of(place: int, words: Sequence[list[str]]) -> tuple[str, str]:
    """Which end a name is for, and the name without the word that says so."""
    for pair in ENDS:
        found = _by_pair(place, words, pair)
        if found:
            return found
    glued = " ".join(words[place])
    for end, last, twin in (("a", "a", "b"), ("b", "b", "a")):
        if (
            len(glued) > 3
            and glued[-1] == last
            and any(" ".join(names) == glued[:-1] + twin for names in words)
        ):
            return end, glued[:-1]
    return "", glued


def _by_pair(place: int, words: Sequence[list[str]], pair: Pair) -> tuple[str, str] | None:
    """End and rest of a name with a word of a pair, where another has its counterpart and the same rest."""
    mine = words[place]
    for end, own, other in (("a", pair[0], pair[1]), ("b", pair[1], pair[0])):
        for word in reversed([word for word in mine if word in own]):
            rest = _without(mine, word)
            partner = any(_without(names, twin) == rest for names in words for twin in names if twin in other)
            if partner and ("tx" not in own | other or "freq" in " ".join(rest)):
                return end, " ".join(rest)
    return None


def _alone(mine: list[str], known: list[Pair]) -> tuple[str, str] | None:
    """End and rest of a name with a word of a pair that tells ends apart elsewhere in the table."""
    for pair in known:
        for end, own in zip("ab", pair, strict=True):
            if mine[-1:] and mine[-1] in own and len(mine) > 1:
                return end, " ".join(mine[:-1])
    return None


def _without(names: list[str], word: str) -> list[str]:
    place = len(names) - 1 - names[::-1].index(word)
    return names[:place] + names[place + 1 :]


class Proposal(NamedTuple):
    """Columns by field, and columns that are not used though their name says a field, with the reason."""

    uses: dict[str, Use]
    refused: dict[str, str]


def propose(
    table: Table, meanings: Mapping[str, Meaning], decimal: str, sites: Sequence[str] = ()
) -> Proposal:
    """Fields of a table to the columns that hold them; a field of one end has its letter behind it.

    Parameters
    ----------
    table : Table
    meanings : mapping
        Fields that the table may have.
    decimal : str
        Decimal mark of its numbers.
    sites : sequence of str
        Ids and names of known sites: columns of hops and services that hold them are ends, whatever their
        names.
    """
    ends = "site" in meanings
    candidates: list[tuple[float, str, Use]] = []
    refused: dict[str, str] = {}
    for header in headers_of(table.columns):
        cells = [cell for cell in table.cells(header.column) if cell][:CELLS_TRIED]
        for field, meaning in meanings.items():
            key = f"{field}_{header.end}" if header.end else field
            if not cells or not _may_be(field, header.end, ends=ends):
                continue
            coverage = max(_coverage(word, header.says) for word in meaning.words)
            unit = header.unit or _likely_unit(meaning, cells, decimal)
            share = _share(meaning, cells, unit, decimal) if coverage else 0.0
            if share >= LEAST_SHARE:
                written = PRETTY.get(unit, unit)
                why = "its name" if header.unit == unit else f"its name; {written} by its values"
                candidates.append((coverage, key, Use(header.column, written, why)))
            elif coverage:
                refused[header.column] = f"{100 * (1 - share):.0f} % of its cells do not read as {key}"
    found: dict[str, Use] = {}
    for _, key, use in sorted(candidates, key=lambda each: -each[0]):
        if key not in found and use.column not in {other.column for other in found.values()}:
            found[key] = use
    if ends:
        _by_values(table, found, {plain(site) for site in sites}, meanings)
    used = {use.column for use in found.values()}
    return Proposal(found, {column: why for column, why in refused.items() if column not in used})


def _may_be(field: str, end: str, *, ends: bool) -> bool:
    """Whether a field of a table of hops goes with an end or with none; of sites none has any."""
    return not ends or (field in AT_BOTH_ENDS if end else field not in NEEDS_AN_END)


def _coverage(word: str, says: str) -> float:
    """Share of a name that an expression explains; 0 where it does not match."""
    match = re.search(word, says)
    return 0.0 if match is None else (len(match.group().strip()) + 1) / (len(says) + 1)


def _by_values(table: Table, found: dict[str, Use], sites: set[str], meanings: Mapping[str, Meaning]) -> None:
    """Add what only the cells tell: ends by the sites that they name, schemes, modulations."""
    for column in table.columns:
        if column in {use.column for use in found.values()}:
            continue
        cells = [cell for cell in table.cells(column) if cell][:CELLS_TRIED]
        if not cells:
            continue
        known = sum(plain(cell) in sites for cell in cells) / len(cells)
        if known >= LEAST_SHARE and not {"site_a", "site_b"} <= found.keys():
            end = "site_b" if "site_a" in found else "site_a"
            found[end] = Use(column, "", f"{100 * known:.0f} % of its cells are sites")
        elif (
            "scheme" in meanings.keys() - found
            and _share_of(cells, lambda cell: re.search(r"\d\s*\+\s*\d", cell)) >= 0.8
        ):
            found["scheme"] = Use(column, "", "its cells read as 1+0 or the like")
        elif (
            "modulation" in meanings.keys() - found
            and _share_of(cells, lambda cell: re.search(r"(?i)qam|psk", cell)) >= 0.8
        ):
            found["modulation"] = Use(column, "", "its cells name modulations")


def _share_of(cells: Sequence[str], test: "object") -> float:
    return sum(bool(test(cell)) for cell in cells) / len(cells)  # type: ignore[operator]


def _share(meaning: Meaning, cells: Sequence[str], unit: str, decimal: str) -> float:
    """Share of cells that read as what a field holds."""
    match meaning.kind:
        case "angle":
            values = [angle(cell) for cell in cells]
            good = [value for value in values if value is not None and meaning.low <= value <= meaning.high]
        case "number":
            amounts = [amount(cell, unit, meaning.unit, decimal) for cell in cells]
            good = [value for value in amounts if value is not None and meaning.low <= value <= meaning.high]
        case "modulation":
            return _share_of(cells, modulations)
        case "polarisation":
            return _share_of(cells, polarisations)
        case "scheme":
            return _share_of(cells, lambda cell: scheme(cell)[0])
        case "protection":
            return _share_of(cells, lambda cell: protection(cell)[0])
        case _:
            return 1.0
    return len(good) / len(cells)


_FACTORS = {("GHz", "MHz"): 1e3, ("m", "km"): 1e-3}
_LIKELY = {
    "GHz": ((1e8, "hz"), (1e5, "khz"), (100.0, "mhz"), (0.0, "ghz")),
    "MHz": ((4000.0, "khz"), (0.0, "mhz")),
    "m": ((250.0, "mm"), (12.0, "cm"), (0.0, "m")),
    "km": ((300.0, "m"), (0.0, "km")),
    "Mbit/s": ((1e5, "kbps"), (0.0, "mbps")),
}
"""Units by the middle value of a column: from so much on, that unit."""


def _likely_unit(meaning: Meaning, cells: Sequence[str], decimal: str) -> str:
    """Unit of a column that states none, by the size of its values; empty where the cells state their own."""
    if meaning.kind != "number" or meaning.unit not in _LIKELY or (meaning.unit == "m" and meaning.high > 10):
        return ""
    read = [value for cell in cells if (value := number(cell, decimal)) is not None]
    if not read or sum(each.unit in UNITS for each in read) > len(read) / 2:
        return ""
    middle = median(abs(each.value) for each in read)
    return next(unit for least, unit in _LIKELY[meaning.unit] if middle >= least)


def amount(cell: str, unit: str, wanted: str, decimal: str) -> float | None:
    """Number of a cell in the unit that is wanted; a unit in the cell goes before that of its column.

    Returns
    -------
    float or None
        None where the cell is no number, or its unit cannot become the one that is wanted.
    """
    read = number(cell, decimal)
    if read is None:
        return None
    written = read.unit if read.unit in UNITS else unit.lower()
    if written not in UNITS or not wanted:
        return read.value
    base, factor = UNITS[written]
    value = read.value * factor
    if base == wanted:
        return value
    if (base, wanted) in _FACTORS:
        return value * _FACTORS[base, wanted]
    if base == "W" and wanted == "dBm":
        return _dbm(value)
    return {("dBW", "dBm"): value + 30.0, ("dBd", "dBi"): value + 2.15, ("dB", "dBi"): value,
            ("dB", "dBm"): value}.get((base, wanted))  # fmt: skip


def _dbm(power_w: float) -> float | None:
    from math import log10

    return 10.0 * log10(power_w) + 30.0 if power_w > 0.0 else None
