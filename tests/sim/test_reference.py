"""The reference pages are those that columns and schema give, and leave nothing out."""

import re

from hopyears.sim.counting.result_tables import TABLES
from hopyears.sim.inputs.network_file import file_schema
from hopyears.sim.wording.fields import source_of
from hopyears.sim.wording.reference import GUIDE, pages


def test_pages_are_up_to_date() -> None:
    """Fails when a column or a field has changed: ``python -m hopyears.sim.wording.reference``."""
    assert {path.name for path in GUIDE.iterdir()} >= {*pages()}
    for name, text in pages().items():
        assert (GUIDE / name).read_text(encoding="utf-8") == text


def test_every_field_of_the_schema_has_a_row_in_its_section() -> None:
    page = pages()["network.md"]
    sections = dict(re.findall(r"^#{2,3} (.+)\n((?:(?!^#).*\n)*)", page, flags=re.MULTILINE))
    schema = file_schema()
    entries = {name: rule for name, rule in schema["properties"].items() if "$ref" in str(rule)}
    # The file itself, the modulations of a radio, the penalties of a service.
    assert len(sections) == 1 + len(entries) + 2
    for name, rule in entries.items():
        model = schema["$defs"][(rule.get("$ref") or rule["items"]["$ref"]).rsplit("/", 1)[-1]]
        section = sections.get(f"[[{name}]]") or sections[f"[{name}]"]
        assert re.findall(r"^\| `(\w+)`", section, flags=re.MULTILINE) == list(model["properties"])
        for field in model.get("required", ()):
            assert re.search(rf"^\| `{field}` \| [^|]* \| must be given \|", section, flags=re.MULTILINE)


def test_rows_tell_unit_default_range_and_source() -> None:
    page = pages()["network.md"]
    assert "| `noise_figure_db` | dB | 6 | a number, 0 to 20 |" in page
    assert source_of("storm_speed_km_h", None).startswith("calibrated")
    assert source_of("wet_snow", True) == ""


def test_every_table_has_a_section() -> None:
    assert re.findall(r"^## (.+)$", pages()["columns.md"], flags=re.MULTILINE) == list(TABLES)
