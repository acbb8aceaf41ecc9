"""How pages are made from their templates and written to disk."""

from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from hopyears.sim.inputs.network_file import InputError


def write_page(text: str, path: Path) -> Path:
    """Write a page under a temporary name, then rename: an old page stays until the new one is whole.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    partial = path.with_name(f".{path.name}.partial")
    try:
        partial.write_text(text, encoding="utf-8")
        partial.replace(path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise InputError(f"{path}: page cannot be written ({error.strerror})") from None
    return path


def page_template(name: str) -> Any:
    """A template of the package; whatever goes into it is escaped."""
    environment = Environment(
        loader=PackageLoader("hopyears.sim.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)
