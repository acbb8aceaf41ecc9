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


def joined(faults: Iterable[Fault]) -> Iterator[Fault]:
    """Faults of one entry as one fault, in the order of the entries: a warning for each entry."""
    by_entry: dict[str, list[Fault]] = {}
    for fault in faults:
        by_entry.setdefault(fault.entry, []).append(fault)
    for first, *others in by_entry.values():
        more = "".join(f"; {dataclasses.replace(fault, entry='').sentence()}" for fault in others)
        yield dataclasses.replace(first, allowed=first.allowed + more)


ALONE = 3
"""Entries with one and the same doubt that get a sentence each; more are told in one."""


def grouped(faults: Iterable[Fault]) -> Iterator[Fault]:
    """As ``joined``, but what more than three entries share is one fault of all, with the first's value."""
    alike: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults:
        alike.setdefault((fault.field, fault.allowed), []).append(fault)
    few = [fault for group in alike.values() if len(group) <= ALONE for fault in group]
    yield from joined(few)
    for first, *others in alike.values():
        if len(others) >= ALONE:
            names = ", ".join(fault.entry.partition(" ")[2] for fault in others[:ALONE])
            more = f" and {len(others)} others alike ({names}{', ...' if len(others) > ALONE else ''})"
            yield dataclasses.replace(first, entry=first.entry + more)


def suggestion(found: str, known: Collection[str]) -> str:
    """``Did you mean "mill"?`` where something known is near to what was found, else nothing."""
    if not found or len(found) > 80:
        return ""
    by_lower_case = {name.lower(): name for name in known}
    near = difflib.get_close_matches(found.lower(), by_lower_case, n=1, cutoff=0.6)
    return f'Did you mean "{by_lower_case[near[0]]}"?' if near else ""
