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

from hopyears.sim.runs.results import Results

COLUMNS = {"service": "services", "hop": "hops", "site": "sites", "site_a": "sites", "site_b": "sites"}
"""Columns of results that hold ids, and the list of the network in which they stand."""


def labels_of(network: Mapping[str, Any]) -> dict[str, dict[str, str]]:
    """By list of the network, id to what readers see; entries of one name have their ids behind it."""
    return {key: _labels(network.get(key) or ()) for key in sorted(set(COLUMNS.values()))}


def _labels(entries: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    own = {str(entry["id"]): str(entry.get("name") or entry["id"]) for entry in entries}
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
        column: [labels[key].get(value, value) for value in table[column]]
        for column, key in COLUMNS.items()
        if column in table.columns
    }
    return table.assign(**changed) if changed else table


def id_of(word: str, labels: Mapping[str, str]) -> str:
    """The id for what a reader typed, an id or a name; the word itself where it is neither."""
    return word if word in labels else next((key for key, label in labels.items() if label == word), word)
