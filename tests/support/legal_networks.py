"""Legal networks changed at random: any field of any entry, within what the file's schema allows."""

import copy
from typing import Any

from hypothesis import strategies as st

from hopyears.models.network.entry import LEAST
from hopyears.sim.inputs.network_file import file_schema

NAMED = ("id", "from", "to", "site", "base")
"""Fields that name a place: another name would be refused."""

Data = dict[str, Any]


@st.composite
def legal_networks(draw: Any, whole: Data, most: int = 6) -> Data:
    """A network as plain data with one to ``most`` fields changed, in one entry of a list or in all of it.

    What several fields say together may still be refused.
    """
    data, schema = copy.deepcopy(whole), file_schema()
    for _ in range(draw(st.integers(1, most))):
        name = draw(st.sampled_from(sorted(set(schema["properties"]) - {"title"})))
        fields = schema["properties"][name]
        if fields.get("type") != "array":
            _change(draw, schema, fields, [data.setdefault(name, {})])
        elif data.get(name) and "$ref" in fields["items"]:
            rows = data[name]
            some = rows if draw(st.booleans()) else [draw(st.sampled_from(rows))]
            _change(draw, schema, fields["items"], some)
    return data


def _change(draw: Any, schema: Data, entry: Data, rows: list[Data]) -> None:
    """Give rows of one kind the same new value of a field."""
    fields = _named(schema, entry).get("properties", {})
    able = {
        key: values
        for key in sorted(set(fields) - {*NAMED})
        if (values := _values(schema, fields[key])) is not None
    }
    if able:
        key = draw(st.sampled_from(sorted(able)))
        value = draw(able[key])
        for row in rows:
            row[key] = value


def _named(schema: Data, field: Data) -> Data:
    return schema["$defs"][field["$ref"].rsplit("/", 1)[-1]] if "$ref" in field else field


def _values(schema: Data, field: Data) -> st.SearchStrategy[Any] | None:
    """What a field may hold; None for texts and for entries of their own."""
    if "anyOf" in field:
        some = [values for each in field["anyOf"] if (values := _values(schema, each)) is not None]
        return st.one_of(some) if some else None
    if "enum" in field:
        return st.sampled_from(field["enum"])
    if field.get("type") == "boolean":
        return st.booleans()
    if field.get("type") in ("number", "integer"):
        return _numbers(field)
    if field.get("type") == "array" and (item := _values(schema, field.get("items", {}))) is not None:
        least = field.get("minItems", 0)
        return st.lists(item, min_size=least, max_size=field.get("maxItems", least + 3))
    return None


def _numbers(field: Data) -> st.SearchStrategy[Any]:
    """Numbers between the limits of a field: evenly, by powers of ten, and close to either limit."""
    low, high = field.get("minimum"), field.get("maximum")
    above, below = low is None, high is None
    low = field.get("exclusiveMinimum", -1e4) if low is None else low
    high = field.get("exclusiveMaximum", 1e4) if high is None else high
    if field["type"] == "integer":
        return st.integers(int(low) + above, int(high) - below)
    if above and low == 0:
        low, above = LEAST, False
    even = st.floats(low, high, exclude_min=above, exclude_max=below)
    if low < 0.0 or high <= 0.0:
        return even
    least = max(low, 1e-6 * high)
    return even | st.floats(0.0, 1.0, exclude_min=above, exclude_max=below).map(
        lambda share: min(max(least * (high / least) ** share, low), high)
    )
