"""What is wrong with an input, in one wording: ``FILE: ENTRY: FIELD is FOUND; must be ALLOWED``."""

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any

from pydantic import ValidationError

from hopyears.models.basics.faults import ALONE, Fault, FieldError, nearest, one_of, some_of, suggestion
from hopyears.models.network.entry import Entry

FAULTS_SHOWN = 20
LONGEST_VALUE = 60
LONGEST_SENTENCE = 2000


class InputError(Exception):
    """The input cannot be used. Its text is the message for the user, one fault a line."""

    @classmethod
    def of(cls, sentences: Sequence[str]) -> "InputError":
        """Join sentences, the first 20 and then a count."""
        lines = [printable(sentence, LONGEST_SENTENCE) for sentence in sentences[: FAULTS_SHOWN + 1]]
        if len(sentences) > FAULTS_SHOWN + 1:
            lines[FAULTS_SHOWN:] = [f"... and {len(sentences) - FAULTS_SHOWN} more"]
        return cls("\n".join(lines))

    @classmethod
    def one(cls, sentence: str) -> "InputError":
        """The error of a single fault."""
        return cls.of([sentence])


class FaultList:
    """Faults as they are met; only those that will be shown become sentences.

    ``broken`` names the lists of a network file that lack an entry or more because of a fault.
    """

    def __init__(self) -> None:
        self.found: list[tuple[str, Fault | str]] = []
        self.broken: set[str] = set()

    def __len__(self) -> int:
        return len(self.found)

    def add(self, file: str, fault: Fault | str) -> None:
        """Note a fault of a file, or a whole sentence about it."""
        self.found.append((file, fault))

    def stop_if_any(self) -> None:
        """Raise InputError if anything was noted; more than three faults alike share one sentence."""
        if not self.found:
            return
        groups: dict[tuple[object, ...], list[tuple[str, Fault | str]]] = {}
        for place, (file, fault) in enumerate(self.found):
            groups.setdefault((file, *_likeness(fault, place)), []).append((file, fault))
        lines: list[tuple[str, list[Fault | str]]] = []
        for group in groups.values():
            faults = [fault for _, fault in group]
            together = [faults] if len(faults) > ALONE else [[fault] for fault in faults]
            lines += [(group[0][0], each) for each in together]
        shown = [f"{file}: {_in_words(faults)}" for file, faults in lines[:FAULTS_SHOWN]]
        left = sum(len(faults) for _, faults in lines[FAULTS_SHOWN:])
        raise InputError.of(shown + ([f"... and {left} more"] if left else []))


def _likeness(fault: Fault | str, place: int) -> tuple[object, ...]:
    """What faults that share a sentence have in common; a whole sentence shares nothing with others."""
    if isinstance(fault, str):
        return (place,)
    return fault.entry.partition(" ")[0], fault.field, fault.allowed, fault.found in ("missing", "not given")


def _in_words(faults: Sequence[Fault | str]) -> str:
    """The first of faults that are alike, and in which other entries."""
    first, *others = faults
    if isinstance(first, str):
        return first
    names = [fault.entry.partition(" ")[2] for fault in others if isinstance(fault, Fault)]
    if not others:
        return first.sentence()
    return f"{first.sentence()} (alike in {len(others)} more: {', '.join(names[:ALONE])}, ...)"


def printable(text: str, longest: int) -> str:
    """Text in one line without control characters, cut where it is too long."""
    cut = text if len(text) <= longest else text[: longest - 3] + "..."
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "replace").decode() for c in cut)


def shown(value: object) -> str:
    """A value of a file as its user wrote it, or nearly so, in few characters."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return f'"{printable(value, LONGEST_VALUE)}"'
        case int():
            return str(value) if value.bit_length() < 200 else f"a number of {value.bit_length()} bits"
        case float():
            return repr(value)
        case list() | tuple():
            return f"a list of {len(value)}"
        case dict():
            return "a table"
    return printable(str(value), LONGEST_VALUE)


def faults_of(error: ValidationError, model: type[Entry], entry: str) -> Iterator[Fault]:
    """Pydantic's errors in our one wording, all of them faults of one entry."""
    schema = json_schema(model)
    for item in error.errors(include_url=False):
        location: tuple[int | str, ...] = item["loc"]
        field = field_name(location)
        rule = _rule_at(schema, location)
        match item["type"]:
            case "missing":
                yield Fault(entry, field, "missing", allowed_words(rule))
            case "extra_forbidden":
                known = _rule_at(schema, location[:-1]).get("properties", {})
                unknown = str(location[-1])
                hint = "" if nearest(unknown, known) else elsewhere(unknown)
                found = f'"{printable(field, 60)}"'
                yield Fault(entry, "field", found, one_of(known), hint, sought=unknown, known=known)
            case "value_error":
                yield _fault_of_validator(item["ctx"]["error"], entry, field)
            case "finite_number":
                yield Fault(entry, field, shown(item["input"]), f"finite, {_range_words(rule)}".rstrip(", "))
            case kind if kind.endswith("_type") or kind in ("too_short", "too_long"):
                yield Fault(entry, field, shown(item["input"]), allowed_words(rule))
            case "literal_error":
                choices = [str(choice) for choice in rule.get("enum", [])]
                found, sought = shown(item["input"]), str(item["input"])
                yield Fault(entry, field, found, allowed_words(rule), sought=sought, known=choices)
            case _:
                allowed = _range_words(rule) or allowed_words(rule) or item["msg"]
                yield Fault(entry, field, shown(item["input"]), allowed)


def _fault_of_validator(error: object, entry: str, field: str) -> Fault:
    if isinstance(error, FieldError):
        prefix = f"{field}." if field else ""
        return Fault(entry, f"{prefix}{error.field}", error.found, error.allowed)
    return Fault(entry, field or "entry", f"refused ({error})", "valid")


def field_name(location: tuple[int | str, ...]) -> str:
    """A place in an entry as its user would point to it: ``modulations[2].states``, counted from 1."""
    parts = (f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in location)
    return "".join(parts).lstrip(".")


def elsewhere(field: str) -> str:
    """Where a field stands that an entry does not have, for the end of a sentence; empty where nowhere."""
    from hopyears.models.network.network import Antenna, Hop, Radio, Service, Site

    for name, model in (
        ("sites", Site),
        ("hops", Hop),
        ("radios", Radio),
        ("antennas", Antenna),
        ("services", Service),
    ):
        near = nearest(field, json_schema(model)["properties"])
        if near:
            return f'"{near}" is a field of [[{name}]]'
    return ""


@lru_cache(maxsize=64)
def json_schema(model: type[Entry]) -> dict[str, Any]:
    """JSON Schema of an entry, its fields by the names they have in a file."""
    return model.model_json_schema(by_alias=True)


def field_rule(model: type[Entry], field: str) -> dict[str, Any]:
    """What the schema says of a field, by its name in a file."""
    return _rule_at(json_schema(model), (field,))


def _rule_at(schema: Mapping[str, Any], location: tuple[int | str, ...]) -> dict[str, Any]:
    """What the schema says of a place in an entry; empty where it says nothing."""
    here = _resolved(schema, dict(schema))
    for part in location:
        if isinstance(part, int):
            below = here.get("items", {})
        else:
            below = here.get("properties", {}).get(part, here.get("additionalProperties", {}))
        here = _resolved(schema, below) if isinstance(below, dict) else {}
    return here


def _resolved(schema: Mapping[str, Any], node: dict[str, Any]) -> dict[str, Any]:
    if "$ref" in node:
        found: dict[str, Any] = schema.get("$defs", {}).get(node["$ref"].rsplit("/", 1)[-1], {})
        return found
    for choice in node.get("anyOf", []):
        if choice.get("type") != "null":
            return _resolved(schema, choice)
    return node


_TYPE_WORDS = {
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a table",
}
IDENTIFIER_WORDS = "1 to 40 letters, digits, dots, dashes or underscores, a letter or digit first"
"""What the name of an entry is made of."""


def allowed_words(rule: Mapping[str, Any]) -> str:
    """What a field takes, in words, from its schema: type and range."""
    if "enum" in rule:
        return "one of " + ", ".join(shown(choice) for choice in rule["enum"])
    kind = _TYPE_WORDS.get(rule.get("type", ""), "")
    limits = _range_words(rule)
    if rule.get("type") == "array":
        return f"a list{f' of {limits}' if limits else ''}"
    return f"{kind}, {limits}" if kind and limits else kind or limits


def _range_words(rule: Mapping[str, Any]) -> str:
    """Range, length or form of a field in words; empty where all values of its type will do."""
    if "pattern" in rule:
        return IDENTIFIER_WORDS
    if "maxLength" in rule:
        return f"at most {rule['maxLength']} characters"
    lowest, highest = rule.get("minimum", rule.get("minItems")), rule.get("maximum", rule.get("maxItems"))
    if lowest is not None and lowest == highest:
        return f"{lowest}"
    if lowest is not None and highest is not None:
        return f"{_number(lowest)} to {_number(highest)}"
    words = [
        f"{word} {_number(limit)}"
        for word, limit in (
            ("at least", lowest),
            ("above", rule.get("exclusiveMinimum")),
            ("at most", highest),
            ("below", rule.get("exclusiveMaximum")),
        )
        if limit is not None
    ]
    return ", ".join(words)


def _number(value: float) -> str:
    return f"{value:.10g}"


def place_among(known: Sequence[str], found: str, field: str, allowed: str) -> int:
    """Place of a name that a user gave among those that there are.

    Raises
    ------
    InputError
        If it is none of them: ``FIELD is "FOUND"; must be ALLOWED: those that there are``.
    """
    if found in known:
        return known.index(found)
    hint = suggestion(found, known)
    sentence = f"{field} is {shown(found)}; must be {allowed}: {some_of(known) or 'none'}"
    raise InputError.one(f"{sentence}. {hint}" if hint else sentence)
