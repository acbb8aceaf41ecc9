"""``hopyears new``: a small commented network file to start from."""

import argparse
from pathlib import Path

START = Path(__file__).parents[1] / "guide" / "start.toml"
"""The file as it stands in the package."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """DIR."""
    parser.add_argument("folder", metavar="DIR", help="folder for network.toml; made if it is not there")


def run(options: argparse.Namespace) -> int:
    """Write the file, never over another, and say what to do with it."""
    from hopyears.sim.inputs.input_errors import InputError

    path = Path(options.folder) / "network.toml"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(START.read_text(encoding="utf-8"))
    except FileExistsError:
        raise InputError.one(f"{path}: file is there already; must be a new file") from None
    except OSError as error:
        raise InputError.one(f"{path}: file cannot be written ({error.strerror})") from None
    print(f"{path}: three sites in a ring, two services; edit it, then")
    print(f"  hopyears check {path}")
    print(f"  hopyears simulate {path} --out {path.parent / 'run'}")
    return 0
