"""Services from rows of a table: ends, rates, priority, protection and what availability is asked for."""

from collections.abc import Iterator

from hopyears.sim.importing.made import Ids, Made
from hopyears.sim.importing.mapping import Assumed
from hopyears.sim.importing.row_reader import RowReader
from hopyears.sim.importing.site_rows import Sites


def services_of_rows(reader: RowReader, sites: Sites, assumed: Assumed, ids: Ids) -> Iterator[Made]:
    """Every row of which both ends are read; the others are noted as left out.

    Parameters
    ----------
    reader : RowReader
    sites : Sites
    assumed : Assumed
        What holds where the table says nothing.
    ids : Ids
        Of services so far.
    """
    for row in range(len(reader.table.rows)):
        ends = [reader.site(row, end, sites) for end in "ab"]
        if None in ends:
            reader.findings.unread.append(f"{reader.where(row)}: the service is left out")
            continue
        yield _service(reader, row, (str(ends[0]), str(ends[1])), assumed, ids)


def _service(reader: RowReader, row: int, ends: tuple[str, str], assumed: Assumed, ids: Ids) -> Made:
    where, notes = reader.where(row), dict[str, str]()

    def guess(field: str, text: str) -> None:
        notes[field] = text
        reader.findings.guess(text, where)

    code, name = reader.text(row, "id"), reader.text(row, "name")
    data: dict[str, object] = {"id": ids.new(code or name or f"{ends[0]}-{ends[1]}", "service")}
    label = name or code
    if label and label != data["id"]:
        data["name"] = label[:80]
    data |= {"from": ends[0], "to": ends[1]}
    committed, peak = reader.number(row, "committed"), reader.number(row, "peak")
    if committed is None and peak is not None:
        committed = peak
        guess("committed_mbit_s", "the committed rate is taken as the peak rate")
    if committed is None:
        committed = assumed.committed_mbit_s
        guess("committed_mbit_s", f"committed rate is assumed, {committed:g} Mbit/s")
    data["committed_mbit_s"] = round(committed, 6)
    if peak is not None and peak < committed:
        guess("peak_mbit_s", "a peak rate below the committed one is left out")
    elif peak is not None and peak > committed:
        data["peak_mbit_s"] = round(peak, 6)
    priority = reader.number(row, "priority")
    if priority is not None:
        data["priority"] = round(priority)
    protection, guessed = reader.protection(row)
    data["protection"] = protection or assumed.service_protection
    if guessed:
        guess("protection", guessed)
    elif not protection:
        guess("protection", f"protection of services is assumed, {assumed.service_protection}")
    asked = reader.number(row, "availability")
    if asked is not None:
        data["availability_objective"] = round(asked / 100.0 if asked > 1.0 else asked, 10)
    return Made(data, where, notes)
