"""Entries made from tables, each with where it comes from; ids that a network file takes."""

import re
from dataclasses import dataclass, field
from typing import Any

from hopyears.sim.importing.cells import plain

LONGEST_ID = 40


@dataclass
class Made:
    """An entry of a network file to be: its fields, its origin, and a note on any field."""

    data: dict[str, Any]
    origin: str
    notes: dict[str, str] = field(default_factory=dict)


class Ids:
    """Ids in one list: what a table calls things, as a network file takes it, each used once."""

    def __init__(self) -> None:
        self.taken: set[str] = set()

    def new(self, text: str, spare: str) -> str:
        """An id for a text, ``spare`` where nothing is left of it."""
        wanted = text if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}", text) else slug(text)
        wanted = wanted or spare
        found, again = wanted, 1
        while found in self.taken:
            again += 1
            found = f"{wanted[: LONGEST_ID - len(str(again)) - 1]}-{again}"
        self.taken.add(found)
        return found


def slug(text: str) -> str:
    """A text as an id: Latin letters, digits and dashes; empty where none are left."""
    flat = plain(re.sub(r"(?<=\d)\.(?=\d)", "·", text)) if "." in text else plain(text)
    kept = re.sub(r"[^A-Za-z0-9]+", "-", flat).strip("-")
    return kept[:LONGEST_ID].rstrip("-")
