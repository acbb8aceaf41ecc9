"""``hopyears schema``: the JSON Schema of the network file."""

import argparse
import json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """No options."""


def run(options: argparse.Namespace) -> int:
    """Print the schema."""
    from hopyears.sim.inputs.network_file import file_schema

    print(json.dumps(file_schema(), indent=2))
    return 0
