"""What is wrong with an input, as data: the reader turns it into a sentence."""

import dataclasses
import difflib
import unicodedata
from collections.abc import Collection, Iterable, Iterator


class FieldError(ValueError):
    """A value that a field may not have: the field, what was found, what is allowed."""

    def __init__(self, field: str, found: str, allowed: str) -> None:
        super().__init__(f"{field} is {found}; must be {allowed}")
        self.field = field
        self.found = found
        self.allowed = allowed


DIRECTIONS = frozenset(
    "\u061c\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff"
)
"""Signs that turn the direction of text or break its lines (Unicode 15, UAX 9, 2; LS, PS and BOM)."""


def steering_sign(text: str) -> str:
    """The first sign of a text that a screen obeys instead of showing; empty where there is none."""
    if text.isascii() and text.isprintable():
        return ""
    return next(filter(_steers, text), "")


def _steers(sign: str) -> bool:
    return sign in DIRECTIONS or unicodedata.category(sign) in ("Cc", "Cs")


def without_steering(text: str) -> str:
    """Text in one line, without signs that a screen obeys: a blank for those that part words.

    >>> without_steering("Old\\nMill\\u200e")
    'Old Mill'
    """
    if not steering_sign(text):
        return text
    kept = ((" " if sign.isspace() else "") if _steers(sign) else sign for sign in text)
    return " ".join("".join(kept).split())


def shown_sign(sign: str) -> str:
    """A sign by its number, as U+202E."""
    return f"U+{ord(sign):04X}"


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

    ``law`` ends the sentence where the same holds for many entries: those that share it are one sentence.
    """

    entry: str
    text: str
    law: str = ""

    def sentence(self) -> str:
        """The doubt in one line, without the file's name."""
        text = f"{self.text}; {self.law}" if self.law else self.text
        return f"{self.entry}: {text}" if self.entry else text


ALONE = 3
"""Entries with one and the same doubt that get a sentence each; more share one sentence."""


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


NAMES_SHOWN = 6
"""Names that a message lists of what is allowed; of more, their number."""


def some_of(names: Collection[str]) -> str:
    """The first names of a list in words, and how many more there are."""
    shown = [*names][:NAMES_SHOWN]
    more = len(names) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more > 0 else "")


def one_of(names: Collection[str]) -> str:
    """What is allowed where a name must be one of a list, in few words."""
    return f"one of {some_of(names)}"


def nearest(found: str, known: Collection[str]) -> str:
    """The known name for which another was most likely meant; empty where none is near.

    The same but for case and signs, or a beginning of it with three letters or more, or one like it that
    begins alike (or differs in hardly a letter).
    """
    if not 0 < len(found) <= 80:
        return ""
    sought = _bare(found)
    by_bare = {_bare(name): name for name in reversed([*known])}
    begun = [name for name in by_bare if len(sought) > 2 and name.startswith(sought)]
    if sought in by_bare or begun:
        return by_bare[sought if sought in by_bare else min(begun, key=len)]
    cutoff = 0.6 if len(sought) <= 5 else 0.75
    for near in difflib.get_close_matches(sought, by_bare, n=3, cutoff=cutoff):
        alike = difflib.SequenceMatcher(None, sought, near).ratio()
        if near[:1] == sought[:1] or alike >= 0.85:
            return by_bare[near]
    return ""


def _bare(name: str) -> str:
    return "_".join("".join(c if c.isalnum() else " " for c in name.lower()).split())


def suggestion(found: str, known: Collection[str]) -> str:
    """``Did you mean "mill"?`` where something known is near to what was found, else nothing."""
    near = nearest(found, known)
    return f'Did you mean "{near}"?' if near else ""
