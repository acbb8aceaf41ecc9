"""What is wrong with an input, as data: the reader turns it into a sentence."""

import dataclasses
import difflib
from collections.abc import Collection, Iterable, Iterator


class FieldError(ValueError):
    """A value that a field may not have: the field, what was found, what is allowed."""

    def __init__(self, field: str, found: str, allowed: str) -> None:
        super().__init__(f"{field} is {found}; must be {allowed}")
        self.field = field
        self.found = found
        self.allowed = allowed


@dataclasses.dataclass(frozen=True)
class Fault:
    """One thing wrong, or doubtful, in one entry.

    ``entry`` names the entry as its user does, for instance ``hop "mill-ridge"``; ``found`` and
    ``allowed`` complete the sentence "FIELD is FOUND; must be ALLOWED". ``known`` are names among which
    ``sought`` may be a slip of the pen; they are searched only when the sentence is asked for.
    """

    entry: str
    field: str
    found: str
    allowed: str
    hint: str = ""
    sought: str = ""
    known: Collection[str] = dataclasses.field(default=(), repr=False)

    def sentence(self) -> str:
        """The fault in one line, without the file's name."""
        subject = f"{self.entry}: {self.field}" if self.entry else self.field
        hint = self.hint or suggestion(self.sought, self.known)
        tail = f". {hint}" if hint else ""
        return f"{subject} is {self.found}; must be {self.allowed}{tail}"


@dataclasses.dataclass(frozen=True)
class Doubt:
    """Something legal that is likely not meant, or outside a tested range: the entry, and what to know.

    ``law`` ends the sentence where the same holds for many entries: those that share it are told together.
    """

    entry: str
    text: str
    law: str = ""

    def sentence(self) -> str:
        """The doubt in one line, without the file's name."""
        text = f"{self.text}; {self.law}" if self.law else self.text
        return f"{self.entry}: {text}" if self.entry else text


ALONE = 3
"""Entries with one and the same doubt that get a sentence each; more are told in one."""


def grouped(doubts: Iterable[Doubt]) -> Iterator[Doubt]:
    """A warning for each entry, in their order; a law that more than three overstretch has one of its own."""
    alike: dict[str, list[Doubt]] = {}
    alone: dict[str, list[str]] = {}
    for doubt in doubts:
        alike.setdefault(doubt.law or doubt.sentence(), []).append(doubt)
    shared = [group for law, group in alike.items() if group[0].law and len(group) > ALONE]
    for group in alike.values():
        if group not in shared:
            for doubt in group:
                alone.setdefault(doubt.entry, []).append(dataclasses.replace(doubt, entry="").sentence())
    for entry, texts in alone.items():
        yield Doubt(entry, "; ".join(texts))
    for first, *others in shared:
        names = ", ".join(doubt.entry.partition(" ")[2] for doubt in others[:ALONE])
        more = f" and {len(others)} others alike ({names}{', ...' if len(others) > ALONE else ''})"
        yield dataclasses.replace(first, entry=first.entry + more)


def suggestion(found: str, known: Collection[str]) -> str:
    """``Did you mean "mill"?`` where something known is near to what was found, else nothing."""
    if not found or len(found) > 80:
        return ""
    by_lower_case = {name.lower(): name for name in known}
    near = difflib.get_close_matches(found.lower(), by_lower_case, n=1, cutoff=0.6)
    return f'Did you mean "{by_lower_case[near[0]]}"?' if near else ""
