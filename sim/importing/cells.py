"""One cell of a table as a value: numbers, places, modulations, polarisations, schemes as people write them.

Each reader gives None for what it cannot read.
"""

import re
import unicodedata
from typing import NamedTuple

from hopyears.models.radio.scheme import parse_scheme


class Number(NamedTuple):
    """A number, and the unit written behind it, in lower case."""

    value: float
    unit: str


_NUMBER = re.compile(r"([-+]?(?:\d[\d.,' ]*|[.,]\d+)(?:e[-+]?\d{1,3})?)\s*([^\d\s][^\d]*)?", re.IGNORECASE)
_GROUPS = re.compile(r"[-+]?\d{1,3}(?:[.,' ]\d{3})+")
_MINUS = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "’": "'"})

UNITS = {
    "ghz": ("GHz", 1.0), "mhz": ("GHz", 1e-3), "khz": ("GHz", 1e-6), "hz": ("GHz", 1e-9),
    "km": ("m", 1e3), "m": ("m", 1.0), "cm": ("m", 1e-2), "mm": ("m", 1e-3), "ft": ("m", 0.3048),
    "feet": ("m", 0.3048), "foot": ("m", 0.3048), "'": ("m", 0.3048), "in": ("m", 0.0254), '"': ("m", 0.0254),
    "mi": ("m", 1609.344), "mile": ("m", 1609.344), "miles": ("m", 1609.344), "nmi": ("m", 1852.0),
    "mbps": ("Mbit/s", 1.0), "mbit/s": ("Mbit/s", 1.0), "mb/s": ("Mbit/s", 1.0), "mbit": ("Mbit/s", 1.0),
    "gbps": ("Mbit/s", 1e3), "gbit/s": ("Mbit/s", 1e3), "kbps": ("Mbit/s", 1e-3), "kbit/s": ("Mbit/s", 1e-3),
    "dbm": ("dBm", 1.0), "w": ("W", 1.0), "mw": ("W", 1e-3), "dbw": ("dBW", 1.0),
    "db": ("dB", 1.0), "dbi": ("dBi", 1.0), "dbd": ("dBd", 1.0), "deg": ("deg", 1.0), "°": ("deg", 1.0),
}  # fmt: skip
"""Unit as people write it to the unit that it is a multiple of, and how many of those it holds."""


PRETTY = {"ghz": "GHz", "mhz": "MHz", "khz": "kHz", "hz": "Hz", "dbm": "dBm", "dbi": "dBi", "dbd": "dBd",
          "dbw": "dBW", "db": "dB", "w": "W", "mw": "mW", "mbps": "Mbit/s", "mbit/s": "Mbit/s",
          "gbit/s": "Gbit/s", "°": "deg"}  # fmt: skip
"""Units as a mapping writes them, where lower case is not how they are written."""


def plain(text: str) -> str:
    """Text in lower case without accents, every other sign a blank: what names are compared by."""
    flat = unicodedata.normalize(
        "NFKD", text.casefold().replace("ß", "ss").replace("ł", "l").replace("ø", "o")
    )
    return " ".join(re.findall(r"[^\W_]+", "".join(c for c in flat if not unicodedata.combining(c))))


def number(text: str, decimal: str) -> Number | None:
    """A number with its unit; thousands may be parted by the other mark, blanks or apostrophes.

    Parameters
    ----------
    text : str
    decimal : str
        Decimal mark of the table, "." or ",".
    """
    match = _NUMBER.fullmatch(text.translate(_MINUS).strip())
    if match is None:
        return None
    digits, unit = match.group(1).strip(" "), (match.group(2) or "").strip(" .[]()").lower()
    if digits.endswith("'"):
        digits, unit = digits[:-1], unit or "'"
    other = "," if decimal == "." else "."
    grouped = _GROUPS.fullmatch(digits) is not None
    digits = digits.replace(" ", "").replace("'", "")
    if other in digits and (decimal in digits or (grouped and digits.count(other) >= 1)):
        digits = digits.replace(other, "")
    digits = digits.replace(",", ".")
    try:
        return Number(float(digits), unit)
    except ValueError:
        return None


def decimal_mark(cells: list[str], separator: str, usual: str = "") -> str:
    """The decimal mark of a table: the one that more numbers show with other than three digits behind it.

    Where three digits stand behind every mark it is the ``usual`` one, else a comma if there is no point and
    commas part no cells.
    """
    marks = [
        (mark, len(behind) != 3)
        for cell in cells
        for mark, behind in re.findall(r"(?<![\d.,])\d+([.,])(\d+)(?![\d.,])", cell)
    ]
    commas, dots = marks.count((",", True)), marks.count((".", True))
    if commas == dots == 0 and (usual or (marks and separator != ",")):
        return usual or ("," if all(mark == "," for mark, _ in marks) else ".")
    return "," if commas > dots else "."


_HEMISPHERE = re.compile(r"^([NSEWO])?\s*(.*?)\s*([NSEWO])?$", re.IGNORECASE | re.DOTALL)
_ANGLE_WORDS = re.compile(r"(?<=\d)\s*(?:deg|d|min|m|sec|s)(?=[\W\d]|$|[NSEWO]$)", re.IGNORECASE)
_COMPACT = re.compile(r"(\d{2,3})(\d{2})(\d{2}(?:\.\d+)?)")


def angle(text: str, *, o_is: str = "W") -> float | None:
    """Degrees of a latitude or longitude: 48.137, 48,137, 48°8'13.8"N, 48 8 13.8, N48:08.23, 480813N.

    ``o_is`` says what the letter O stands for: W (ouest, oeste, ovest) or E (Ost, oost, oest).
    """
    text = text.translate(_MINUS).strip()
    if re.search(r"(?i)\d\s*d", text):
        text = _ANGLE_WORDS.sub(" ", text).strip()
    before, body, after = _HEMISPHERE.fullmatch(text).groups()  # type: ignore[union-attr]
    letter = (before or after or "").upper().replace("O", o_is)
    compact = _COMPACT.fullmatch(body.replace(",", "."))
    if letter and compact:
        parts = list(compact.groups())
    else:
        parts = re.findall(r"[-+]?\d+(?:[.,]\d+)?", body)
        rest = re.sub(r"[-+]?\d+(?:[.,]\d+)?", "", body)
        if not 1 <= len(parts) <= 3 or not re.fullmatch(
            r"[\s°º˚'\"′″´`:*dms]*(?:deg|min|sec|grad)?[\s'\"′″]*", rest
        ):
            return None
    degrees, minutes, seconds = ([float(part.replace(",", ".")) for part in parts] + [0.0, 0.0])[:3]
    if not (0.0 <= minutes < 60.0 and 0.0 <= seconds < 60.0) or (before and after):
        return None
    negative = parts[0].startswith("-") or letter in ("S", "W")
    size = abs(degrees) + minutes / 60.0 + seconds / 3600.0
    return -size if negative else size


_MODULATION = re.compile(
    r"(\d{1,5})?\s*-?\s*(qam|maq|tcm|apsk|psk)\s*-?\s*(\d{1,5})?|(qpsk|bpsk|oqpsk)", re.IGNORECASE
)


def modulations(text: str) -> list[int]:
    """Constellation points named in a cell, each once, lowest first: "QPSK - 256QAM" gives 4 and 256."""
    found = set()
    text = re.sub(
        r"(?i)(\d+)\s*(?:-|to|\.\.|…|/)\s*(?=\d+\s*-?\s*(?:qam|maq))", r"\1QAM, ", text.translate(_MINUS)
    )
    for before, kind, after, phase in _MODULATION.findall(text):
        states = int(before or after or 4 if kind else (2 if phase.lower() == "bpsk" else 4))
        found.add(states)
    if not found and re.fullmatch(r"\d{1,5}", text.strip()):
        found.add(int(text))
    return sorted(states for states in found if 2 <= states <= 16384 and states & (states - 1) == 0)


def polarisations(text: str) -> str:
    """H, V, or HV for both; empty where the cell says neither."""
    words = plain(text).split()
    first = {word[0] for word in words if re.fullmatch(r"h|v|hor\w*|ver\w*|hv|vh|hpol|vpol", word)}
    if any(
        word in ("hv", "vh", "dual", "both", "cross", "xpol", "beide", "duplo", "double") for word in words
    ):
        first = {"h", "v"}
    return "".join(sorted(letter.upper() for letter in first))


_WORDS_OF_SCHEMES = (
    (r"\b(xpic|ccdp|cochannel|co channel)\b", "XPIC"),
    (r"\b(sd|space|spatial|espacial|spaziale|raum\w*)\b", "SD"),
    (r"\b(fd|frequency div\w*|frequenz\w*|diversite de frequence)\b", "FD"),
    (r"\b(hsb|hs|mhsb|hot|standby|stand by)\b", "HSB"),
    (r"\b(acap|dp|dual pol\w*)\b", "DP"),
)


def scheme(text: str) -> tuple[str, str]:
    """Scheme in the trade's short form, and what was guessed; both empty where the cell says nothing."""
    if _reads(text):
        return text.strip(), ""
    flat = plain(text)
    head = re.search(r"(\d{1,2})\s*\+\s*(\d{1,2})", text)
    words = [word for pattern, word in _WORDS_OF_SCHEMES if re.search(pattern, flat)]
    if head is None:
        if re.search(r"\b(unprotected|none|no|single|ungeschutzt|sin proteccion|non protege)\b", flat):
            return "1+0", f'"{text}" is taken as 1+0'
        if not words and not re.search(r"\b(protected|protection|geschutzt|protege|protegido)\b", flat):
            return "", ""
        ends = "2+0" if set(words) & {"XPIC", "DP"} else "1+1"
    else:
        ends = f"{int(head.group(1))}+{int(head.group(2))}"
    guess = "" if head else f'"{text}" is taken as {" ".join([ends, *words])}'
    if ends == "1+1" and not words:
        words, guess = ["HSB"], f'"{text}" is taken as hot standby, 1+1 HSB'
    if ends.endswith("+0") or ends == "1+1":
        words = [word for word in words if not (word == "HSB" and ends.endswith("+0"))]
    if ends == "1+1" and "SD" in words and "HSB" in words:
        words.remove("HSB")
    form = " ".join([ends, *words])
    return (form, guess) if _reads(form) else ("", "")


_WORDS_OF_PROTECTION = (
    (r"rerout\w*|restor\w*|dynamic|any route|umleitung", "rerouted"),
    (
        r"unprotected|none|no|nein|non|aucune?|ninguna|single|ungeschutzt|sin proteccion|non protege|1 0",
        "none",
    ),
    (
        r"protected|protection|yes|ja|oui|si|sim|ring|dual|diverse|geschutzt|protege|protegido|1 1",
        "protected",
    ),
)


def protection(text: str) -> tuple[str, str]:
    """Protection of a service, and what was guessed; both empty where the cell says nothing."""
    flat = plain(text)
    for words, found in _WORDS_OF_PROTECTION:
        if re.search(rf"\b({words})\b", flat):
            return found, "" if flat == found else f'"{text}" is taken as {found}'
    return "", ""


def _reads(form: str) -> bool:
    try:
        parse_scheme(form)
    except ValueError:
        return False
    return True
