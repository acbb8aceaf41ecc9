"""Hops from rows of a table: ends, frequency, scheme, modulations; rows of one hop put together."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from hopyears.sim.importing.mapping import Assumed
from hopyears.sim.importing.row_reader import RowReader
from hopyears.sim.importing.site_rows import Sites, place_word

LADDER = (4, 16, 64, 256, 1024, 4096)
"""Steps of adaptive modulation between the lowest and the highest that a table names (common practice)."""


@dataclass
class HopRow:
    """A row of a table of hops as values; what is None the table does not say."""

    row: int
    where: str
    site_a: str
    site_b: str
    code: str
    name: str
    frequency_ghz: float
    duplex_mhz: float | None
    channel_width_mhz: float
    polarisation: str
    scheme: str
    radio: str
    steps: tuple[int, ...]
    adaptive: bool
    power_dbm: dict[str, float]
    ends: dict[str, float | None] = field(default_factory=dict)
    capacity_mbit_s: float | None = None
    threshold_dbm: float | None = None
    noise_figure_db: float | None = None
    length_km: float | None = None
    notes: dict[str, str] = field(default_factory=dict)

    def note(self, field: str, guess: str, reader: RowReader) -> None:
        """Note a guess for a field, for the file and for the report."""
        self.notes[field] = guess
        reader.findings.guess(guess, self.where)


END_FIELDS = ("diameter", "gain", "antenna_height", "loss")


def rows_of_hops(reader: RowReader, sites: Sites, assumed: Assumed) -> Iterator[HopRow]:
    """Every row of which both ends and a frequency are read; the others are noted as left out."""
    for row in range(len(reader.table.rows)):
        where = reader.where(row)
        ends = [_end(reader, sites, row, end) for end in "ab"]
        frequency, duplex, guess = _frequency(reader, row, assumed)
        if None in ends or not frequency:
            missing = "" if None in ends else "no frequency; "
            reader.findings.unread.append(f"{where}: {missing}the hop is left out")
            continue
        found = HopRow(
            row=row, where=where, site_a=str(ends[0]), site_b=str(ends[1]), code=reader.text(row, "id"),
            name=reader.text(row, "name"), frequency_ghz=frequency, duplex_mhz=duplex,
            channel_width_mhz=reader.number(row, "channel_width") or assumed.channel_width_mhz,
            polarisation="", scheme="", radio=reader.text(row, "radio"), steps=(), adaptive=False,
            power_dbm=_power(reader, row),
        )  # fmt: skip
        if guess:
            found.note("frequency_ghz", guess, reader)
        _protection(found, reader)
        _modulation(found, reader, assumed)
        found.ends = {f"{name}_{end}": _at_end(reader, row, name, end) for name in END_FIELDS for end in "ab"}
        for name in ("capacity", "threshold", "noise_figure", "length"):
            unit = {"capacity": "mbit_s", "threshold": "dbm", "noise_figure": "db", "length": "km"}[name]
            setattr(found, f"{name}_{unit}", reader.number(row, name))
        yield found


def _end(reader: RowReader, sites: Sites, row: int, end: str) -> str | None:
    """Id of the site at an end, by its coordinates where the row has no other word for it."""
    named = reader.text(row, f"site_{end}") or reader.text(row, f"site_name_{end}")
    if not named and f"latitude_{end}" in reader.uses:
        place = reader.angle(row, f"latitude_{end}"), reader.angle(row, f"longitude_{end}")
        if None not in place:
            return sites.find(place_word(place))  # type: ignore[arg-type]
    return reader.site(row, end, sites)


def _frequency(reader: RowReader, row: int, assumed: Assumed) -> tuple[float | None, float | None, str]:
    """Frequency [GHz], duplex spacing [MHz], and what was guessed."""
    first = reader.number(row, "frequency") or reader.number(row, "frequency_a")
    second = reader.number(row, "frequency_b")
    if first or second:
        apart = round(1000.0 * abs((first or 0.0) - (second or 0.0)), 3) if first and second else 0.0
        return round(first or second or 0.0, 6), apart if 0.0 < apart <= 12_000.0 else None, ""
    band = reader.number(row, "band")
    if band:
        return band, None, f"frequency is the band, {band:g} GHz"
    return assumed.frequency_ghz, None, f"frequency is assumed, {assumed.frequency_ghz:g} GHz"


def _power(reader: RowReader, row: int) -> dict[str, float]:
    found = {end: reader.number(row, f"transmit_power{end}") for end in ("", "_a", "_b")}
    return {end: value for end, value in found.items() if value is not None}


def _at_end(reader: RowReader, row: int, name: str, end: str) -> float | None:
    """A number of an end; one without an end holds for both."""
    own = reader.number(row, f"{name}_{end}") if f"{name}_{end}" in reader.uses else None
    return reader.number(row, name) if own is None and name in reader.uses else own


def _protection(found: HopRow, reader: RowReader) -> None:
    """Polarisation and scheme of a row."""
    polarisation = reader.polarisation(found.row)
    form, guess = reader.scheme(found.row)
    if guess:
        found.note("scheme", guess, reader)
    if polarisation == "HV" and not form:
        form = "2+0 XPIC"
        found.note("scheme", "both polarisations without a scheme are taken as 2+0 XPIC", reader)
    found.polarisation, found.scheme = polarisation, form


def _modulation(found: HopRow, reader: RowReader, assumed: Assumed) -> None:
    """Steps of modulation of a row: what it names, or what is assumed."""
    one = reader.modulations(found.row, "modulation") or []
    low = reader.modulations(found.row, "lowest_modulation") or []
    high = reader.modulations(found.row, "highest_modulation") or []
    named = sorted({*one, *low, *high})
    if not named:
        found.steps, found.adaptive = assumed.modulations, True
        words = (
            f"adaptive modulation of {assumed.modulations[0]} to {assumed.modulations[-1]} states is assumed"
        )
        found.note("radio", words, reader)
        return
    adaptive = len(named) > 1 or bool(high) or assumed.adaptive
    lowest = named[0] if len(named) > 1 else 4
    if adaptive:
        found.steps = tuple(sorted({*named, *(s for s in LADDER if lowest <= s <= named[-1])}))
        if len(named) == 1 or set(found.steps) != set(named):
            found.note(
                "radio", f"steps between are guessed: {', '.join(map(str, found.steps))} states", reader
            )
    else:
        found.steps = tuple(named)
        found.note(
            "radio", "one modulation in the table is kept at all times ([assumed] adaptive = false)", reader
        )
    found.adaptive = adaptive


def together(rows: list[HopRow], reader: RowReader, assumed: Assumed) -> list[HopRow]:
    """Rows of one hop as one: its two directions, or its carriers under one id."""
    rows = _directions(rows, reader, assumed)
    groups: dict[tuple[str, str, str, int], list[HopRow]] = {}
    for number, each in enumerate(rows):
        groups.setdefault((each.site_a, each.site_b, each.code, 0 if each.code else number), []).append(each)
    return [_carriers(group, reader) for group in groups.values()]


def _directions(rows: list[HopRow], reader: RowReader, assumed: Assumed) -> list[HopRow]:
    """Of a table with a row for each direction, one row a hop; the second end from the row back."""
    forth = Counter((row.site_a, row.site_b) for row in rows)
    paired = sum(min(count, forth[b, a]) for (a, b), count in forth.items())
    if assumed.rows_are == "hops" or (not assumed.rows_are and (not rows or paired < 0.9 * len(rows))):
        return rows
    reader.findings.guess(
        "two rows with their ends exchanged are the two directions of one hop", rows[0].where
    )
    waiting: dict[tuple[str, str], list[HopRow]] = {}
    kept = []
    for row in rows:
        back = waiting.get((row.site_b, row.site_a))
        if back:
            first = min(back, key=lambda other: abs(other.frequency_ghz - row.frequency_ghz))
            back.remove(first)
            _take_end(first, row, reader)
            continue
        waiting.setdefault((row.site_a, row.site_b), []).append(row)
        kept.append(row)
    return kept


def _take_end(first: HopRow, back: HopRow, reader: RowReader) -> None:
    for name in END_FIELDS:
        if f"{name}_b" not in reader.uses:
            first.ends[f"{name}_b"] = back.ends[f"{name}_a"]
    apart = round(1000.0 * abs(first.frequency_ghz - back.frequency_ghz), 3)
    if first.duplex_mhz is None and 0.0 < apart <= 12_000.0:
        first.duplex_mhz = apart


def _carriers(group: list[HopRow], reader: RowReader) -> HopRow:
    """Rows of one id between the same ends are carriers of one hop."""
    first = group[0]
    if len(group) == 1:
        return first
    polarisations = {row.polarisation for row in group} - {""}
    shared = len({row.frequency_ghz for row in group}) < len(group)
    words = " XPIC" if len(polarisations) == 2 and shared else " DP" if len(polarisations) == 2 else ""
    if not first.scheme:
        first.scheme = f"{len(group)}+0{words}"
    text = f"rows of one id are carriers of one hop: {first.scheme}"
    first.note("scheme", text, reader)
    return first
