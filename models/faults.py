"""What is wrong with an input, as data: the reader turns it into a sentence."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong, or doubtful, in one entry.

    ``entry`` names the entry as its user does, for instance ``hop "mill-ridge"``; ``found`` and
    ``allowed`` complete the sentence "FIELD is FOUND; must be ALLOWED".
    """

    entry: str
    field: str
    found: str
    allowed: str
    hint: str = ""

    def sentence(self) -> str:
        """The fault in one line, without the file's name."""
        subject = f"{self.entry}: {self.field}" if self.entry else self.field
        tail = f". {self.hint}" if self.hint else ""
        return f"{subject} is {self.found}; must be {self.allowed}{tail}"


def suggestion(found: str, known: Iterable[str]) -> str:
    """``Did you mean "mill"?`` where something known is near to what was found, else nothing."""
    near = difflib.get_close_matches(found, list(known), n=1, cutoff=0.6)
    return f'Did you mean "{near[0]}"?' if near else ""
