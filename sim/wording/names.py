"""What readers call sites, hops and services: their names where they have one, else their ids.

The one place that decides. Tables on disk and in Python keep ids; terminal, page and figures read the results
through ``for_readers``.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pandas as pd

from hopyears.models.network.network import Hop, Network, Service, Site
from hopyears.sim.runs.results import Results
from hopyears.sim.studies.targets import HOP, SINGLE, SITE

COLUMNS = {"service": "services", "hop": "hops", **dict.fromkeys(("site", "from", "to", "base"), "sites")}
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
    for column, rename in TEXTS.items():
        if column in table.columns:
            changed[column] = [rename(value, labels) for value in table[column]]
    if {"kind", "target"} <= set(table.columns):
        pairs = zip(table["kind"], table["target"], strict=True)
        changed["target"] = [
            place_name(target, labels) if kind in (HOP, SITE, SINGLE) else target.replace("_", " ")
            for kind, target in pairs
        ]
    if {"contract", "services"} <= set(table.columns):
        own = labels.get("services", {})
        pairs = zip(table["contract"], table["services"], strict=True)
        changed["contract"] = [own.get(name, name) if name == held else name for name, held in pairs]
    return table.assign(**changed) if changed else table


def place_name(path: str, labels: Mapping[str, Mapping[str, str]]) -> str:
    """A hop, site or part with names in it: ``hop/site/part``, ``site/part``; as it is where it is none."""
    head, *rest = path.split("/")
    hops, sites = labels.get("hops", {}), labels.get("sites", {})
    if head in hops and not (head in sites and (not rest or rest[0] not in sites)):
        names = [hops[head], *(sites.get(each, each) for each in rest[:1]), *rest[1:]]
    else:
        names = [sites.get(head, head), *rest]
    return "/".join(names)


def _candidates(text: str, labels: Mapping[str, Mapping[str, str]]) -> str:
    """Candidates of advice, ``mill: generator; mill-ridge: 2+0``, each with the name of what it changes."""
    parts = [each.partition(": ") for each in text.split("; ")]
    return "; ".join(f"{place_name(where, labels)}{colon}{what}" for where, colon, what in parts)


def _list_of_services(text: str, labels: Mapping[str, Mapping[str, str]]) -> str:
    return ", ".join(labels.get("services", {}).get(each, each) for each in text.split(", "))


TEXTS: Mapping[str, Callable[[str, Mapping[str, Mapping[str, str]]], str]] = {
    "place": place_name,
    "services": _list_of_services,
    "services_added": _list_of_services,
    "services_removed": _list_of_services,
    **dict.fromkeys(("candidate", "bought", "set", "next_best"), _candidates),
}
"""Columns of texts with ids in them, and how they are read."""


def id_of(word: str, labels: Mapping[str, str]) -> str:
    """The id for what a reader typed, an id or a name; the word itself where it is neither."""
    return word if word in labels else next((key for key, label in labels.items() if label == word), word)


def with_id(condition: str, labels: Mapping[str, Mapping[str, str]]) -> str:
    """A condition COLUMN=VALUE on a column of ids, its value a name or an id, with the id."""
    column, equals, value = condition.partition("=")
    return f"{column}{equals}{id_of(value, labels.get(COLUMNS.get(column, ''), {}))}"
