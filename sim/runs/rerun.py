"""Opens a finished run again, so that any of its blocks can be simulated once more exactly as it was."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from hopyears.models.network.network import Network
from hopyears.sim.blocks.prepared import ModelOptions, Prepared, prepare
from hopyears.sim.inputs.input_errors import InputError, place_among
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.storage.run_folder import RunFolder, versions


@dataclass(frozen=True)
class OpenedRun:
    """A run on disk with its network made ready again.

    Attributes
    ----------
    folder : RunFolder
    manifest : dict
    prepared : Prepared
        Of the stored network, with the options of the run.
    """

    folder: RunFolder
    manifest: Mapping[str, Any]
    prepared: Prepared

    @property
    def seed(self) -> int:
        """Seed of the run."""
        return int(self.manifest["seed"])

    @property
    def block_years(self) -> int:
        """Years in each block."""
        return int(self.manifest["block_years"])

    def service_index(self, service_id: str) -> int:
        """Number of a service of the run.

        Raises
        ------
        InputError
            If there is none of that id.
        """
        ids = [demand.id for demand in self.prepared.demands]
        return place_among(ids, service_id, "--service", "a service of the run")


def open_run(path: Path | str) -> OpenedRun:
    """Open a run whose blocks are to be simulated again.

    Raises
    ------
    InputError
        If the folder holds no run or no finished block, if its network is not the one that was simulated,
        or if the versions that decide the numbers are not those installed: the same draws would then not
        come out again.
    """
    folder = RunFolder(path)
    manifest = folder.manifest()
    _check_versions(folder, manifest)
    if not folder.finished_blocks():
        raise InputError(f"{folder.path}: run has no finished block; must have at least one")
    network = _network(folder, manifest)
    return OpenedRun(folder, manifest, prepare(network, ModelOptions(**manifest["options"])))


def _check_versions(folder: RunFolder, manifest: Mapping[str, Any]) -> None:
    made, here = manifest["versions"], versions()
    differing = [name for name in sorted({*made, *here}) if made.get(name) != here.get(name)]
    if differing:
        name = differing[0]
        raise InputError(
            f"{folder.path}: run was made with {name} {made.get(name, '(none)')}; must be the version "
            f"installed, {here.get(name, '(none)')}, for its draws to come out again. Simulate it anew to "
            "study it with this version"
        )


def _network(folder: RunFolder, manifest: Mapping[str, Any]) -> Network:
    try:
        network = Network.model_validate(folder.network())
    except (OSError, ValidationError, ValueError):
        raise InputError(
            f"{folder.path}: network.json is not readable; must be as simulate wrote it"
        ) from None
    if NetworkSource(network, "network.json", (), {}).digest() != manifest["network"]:
        raise InputError(
            f"{folder.path}: network.json is not that of the manifest; must be as simulate wrote it"
        )
    return network
