"""Plain values as TOML text, for files that people read: one line a value."""

import json
from collections.abc import Mapping
from typing import Any


def quoted(text: str) -> str:
    """Text as a basic string of TOML 1.0; JSON writes the same but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def value_text(value: Any) -> str:
    """A value: text, number, truth value, list or table on one line."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return quoted(value)
        case float():
            return f"{value:.10g}"
        case list() | tuple():
            return f"[{', '.join(map(value_text, value))}]"
        case Mapping():
            return "{ " + ", ".join(pair(key, item) for key, item in value.items()) + " }"
    return str(value)


def pair(key: str, value: Any) -> str:
    """``key = value``; the key bare, as all names of fields are."""
    return f"{key} = {value_text(value)}"
