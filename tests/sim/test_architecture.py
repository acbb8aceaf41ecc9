"""The arrows of the architecture, read from the imports: models know nothing of the clock, draws or files."""

import ast
from pathlib import Path

import pytest

import hopyears.models
import hopyears.sim

MODELS, SIM = (Path(package.__file__).parent for package in (hopyears.models, hopyears.sim))

OUTSIDE_MODELS = {
    "hopyears.sim",
    "simpy",
    "matplotlib",
    "random",
    "pandas",
    "pyarrow",
    "itur",
    "os",
    "io",
    "pathlib",
}
FILE_CALLS = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "savez", "loadtxt", "fromfile"}
MAKERS = {"default_rng", "SeedSequence", "RandomState", "PCG64"}


def modules(folder):
    return sorted(folder.rglob("*.py"))


def tree_of(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(tree):
    """Full dotted names of all that a module imports, wherever in it."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def imported_when_loaded(tree):
    """The same, of the statements that run when the module is loaded."""
    body = [node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)]
    return imported(ast.Module(body, []))


def called(tree):
    """Last name of everything that is called."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            function = node.func
            names.add(function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", ""))
    return names


def attributes(tree):
    """Dotted names read from modules, for instance np.random.default_rng."""
    return {ast.unparse(node) for node in ast.walk(tree) if isinstance(node, ast.Attribute)}


def faults_of_model(tree):
    """What a module of ``models`` must not do."""
    tops = {".".join(name.split(".")[: 2 if name.startswith("hopyears") else 1]) for name in imported(tree)}
    found = sorted(tops & OUTSIDE_MODELS)
    found += sorted(name for name in imported(tree) | attributes(tree) if ".random" in name)
    return found + sorted(called(tree) & FILE_CALLS)


def makes_random_numbers(tree):
    """Ways in which a module makes random numbers of its own."""
    names = imported(tree)
    found = sorted(
        name for name in names if name.split(".")[0] == "random" or name.startswith("numpy.random")
    )
    calls = [ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return found + sorted(
        call
        for call in calls
        if "np.random." in call or "numpy.random." in call or call.rpartition(".")[2] in MAKERS
    )


@pytest.mark.parametrize("path", modules(MODELS), ids=lambda path: path.name)
def test_models_are_pure(path):
    assert faults_of_model(tree_of(path)) == []


@pytest.mark.parametrize("path", modules(SIM), ids=lambda path: str(path.relative_to(SIM)))
def test_random_numbers_are_made_in_one_place(path):
    if path.name == "streams.py":
        assert makes_random_numbers(tree_of(path))
    else:
        assert makes_random_numbers(tree_of(path)) == []


def test_the_checks_see_what_they_look_for():
    bad = ast.parse("import simpy\nfrom hopyears.sim.hops import hop\nx = np.random.normal()\nopen('file')")
    assert faults_of_model(bad) == ["hopyears.sim", "simpy", "np.random", "np.random.normal", "open"]
    assert makes_random_numbers(ast.parse("g = np.random.default_rng(1)")) == ["np.random.default_rng"]
    assert makes_random_numbers(ast.parse("x = np.random.normal()")) == ["np.random.normal"]
    assert makes_random_numbers(ast.parse("x = generator.random(5)")) == []
    assert makes_random_numbers(ast.parse("from numpy.random import Generator")) == ["numpy.random.Generator"]
    assert makes_random_numbers(ast.parse("import random")) == ["random"]


def path_of(module):
    """Where a module of the package stands, without its ending."""
    _, *parts = module.split(".")
    rooms = {"models": MODELS, "sim": SIM}
    return Path(rooms[parts[0]], *parts[1:]) if parts and parts[0] in rooms else Path(SIM / "public", *parts)


def reached(module):
    """Every module of the two packages that loading one loads, and all names they import then."""
    waiting, seen, names = [module], set(), set()
    while waiting:
        name = waiting.pop()
        path = path_of(name)
        path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
        if name in seen or not path.is_file():
            continue
        seen.add(name)
        found = imported_when_loaded(tree_of(path))
        names |= found
        own = {each for each in found if each.split(".")[0] == "hopyears"}
        waiting += [*own, *(each.rpartition(".")[0] for each in own)]
    return seen, names


# Folders of sim in the order of the flow; each imports itself and earlier ones.
ORDER = (
    *("streams", "inputs", "importing", "storage", "climate", "rain", "multipath", "hops", "equipment"),
    *("services", "counting", "blocks", "textbook", "rare", "money", "runs", "studies", "advice", "wording"),
    *("report", "modulation", "commands", "public"),
)
RANK_OF = {folder: rank for rank, folder in enumerate(ORDER)}


def back_arrows(path, tree):
    """Imports of a module of ``sim`` that go against the flow."""
    here = RANK_OF[path.relative_to(SIM).parts[0].removesuffix(".py")]
    names = [name.split(".") for name in imported(tree) if name.startswith("hopyears.sim.")]
    return [".".join(name) for name in names if RANK_OF.get(name[2], here) > here]


@pytest.mark.parametrize("path", modules(SIM), ids=lambda path: str(path.relative_to(SIM)))
def test_folders_import_with_the_flow(path):
    if path != SIM / "__init__.py":
        assert back_arrows(path, tree_of(path)) == []


def test_an_arrow_back_is_seen():
    assert back_arrows(SIM / "rain" / "x.py", ast.parse("from hopyears.sim.runs import runner")) == [
        "hopyears.sim.runs.runner"
    ]


@pytest.mark.parametrize(
    "module",
    [
        "hopyears.sim.runs.results",
        "hopyears.sim.blocks.block",
        "hopyears.sim.runs.runner",
        "hopyears.sim.runs.summary",
        "hopyears.sim.commands",
    ],
)
def test_engine_and_results_know_no_plots(module):
    seen, names = reached(module)
    assert not {name for name in names if name.split(".")[0] in ("matplotlib", "jinja2")}
    assert not {name for name in seen if name.startswith("hopyears.sim.report")}


def test_the_search_for_plots_can_find_some():
    _, names = reached("hopyears.sim.report.figures")
    assert any(name.startswith("matplotlib") for name in names)
    seen, _ = reached("hopyears.sim.runs.results")
    assert {
        "hopyears.sim.runs.results",
        "hopyears.sim.storage.run_folder",
        "hopyears.models.network.entry",
    } <= seen


@pytest.mark.parametrize("name", ["runs.results", "wording.names", "rare.year_tables", "rare.strata"])
def test_results_are_read_and_named_without_what_simulates(name):
    seen, names = reached(f"hopyears.sim.{name}")
    assert not {each for each in seen if each.startswith("hopyears.sim.blocks")}
    assert "simpy" not in {each.split(".")[0] for each in names}


@pytest.mark.parametrize("name", ["runs.results", "wording.names"])
def test_tables_are_shown_without_loops(name):
    assert "numba" not in {each.split(".")[0] for each in reached(f"hopyears.sim.{name}")[1]}


def test_the_table_of_verbs_loads_nothing_heavy():
    seen, names = reached("hopyears.sim.commands")
    assert not {name.split(".")[0] for name in names} & {"numpy", "pandas", "scipy", "numba", "pydantic"}
    assert seen <= {"hopyears", "hopyears.sim", "hopyears.sim.commands"}


@pytest.mark.parametrize("path", modules(SIM), ids=lambda path: str(path.relative_to(SIM)))
def test_the_report_is_asked_for_by_its_verb_only(path):
    names = imported(tree_of(path))
    inside = path.parent.name in ("report", "modulation", "commands", "public")
    assert inside or not any(name.startswith("hopyears.sim.report") for name in names)
