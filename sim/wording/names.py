"""What readers call sites, hops and services: their names where they have one, else their ids.

The one place that decides. Tables on disk and in Python keep ids; terminal, page and figures read the results
through ``for_readers``.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pandas as pd

from hopyears.models.network.network import Hop, Network, Service, Site
from hopyears.sim.runs.results import Results

COLUMNS = {
    "service": "services",
    "hop": "hops",
    **dict.fromkeys(("site", "from", "to", "base"), "sites"),
}
"""Columns of results that hold ids, and the list of the network in which they stand."""


def labels_of(network: Network | Mapping[str, Any]) -> dict[str, dict[str, str]]:
    """By list of a network, id to what readers see; entries of one name have their ids behind it."""
    if isinstance(network, Network):
        lists: dict[str, tuple[Site | Hop | Service, ...]] = {
            "sites": network.sites,
            "hops": network.hops,
            "services": network.services,
        }
        return {key: _labels((each.id, each.name) for each in entries) for key, entries in lists.items()}
    return {
        key: _labels((str(each["id"]), each.get("name")) for each in network.get(key) or () if "id" in each)
        for key in ("sites", "hops", "services")
    }


def _labels(entries: Iterable[tuple[str, str | None]]) -> dict[str, str]:
    own = {key: name or key for key, name in entries}
    counts = Counter(own.values())
    return {
        key: label if counts[label] == 1 and (label == key or label not in own) else f"{label} ({key})"
        for key, label in own.items()
    }


def for_readers(results: Results) -> Results:
    """The same results with names in place of ids in every table."""
    labels = labels_of(results.network)
    if all(label == key for own in labels.values() for key, label in own.items()):
        return results
    tables = {name: relabelled(table, labels) for name, table in results.tables.items()}
    return replace(results, tables=MappingProxyType(tables))


def relabelled(table: pd.DataFrame, labels: Mapping[str, Mapping[str, str]]) -> pd.DataFrame:
    """A table with names in place of ids; what is no id of the network stays."""
    changed = {
        column: [labels.get(key, {}).get(value, value) for value in table[column]]
        for column, key in COLUMNS.items()
        if column in table.columns
    }
    return table.assign(**changed) if changed else table


def id_of(word: str, labels: Mapping[str, str]) -> str:
    """The id for what a reader typed, an id or a name; the word itself where it is neither."""
    return word if word in labels else next((key for key, label in labels.items() if label == word), word)


def with_id(condition: str, labels: Mapping[str, Mapping[str, str]]) -> str:
    """A condition COLUMN=VALUE on a column of ids, its value a name or an id, with the id."""
    column, equals, value = condition.partition("=")
    return f"{column}{equals}{id_of(value, labels.get(COLUMNS.get(column, ''), {}))}"
