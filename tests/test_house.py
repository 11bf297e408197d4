"""The project as a whole: who imports whom, what starts light, what is locked and shipped."""

from __future__ import annotations

import ast
import graphlib
import json
import os
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

import estimator

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "estimator"
LOCKS = [ROOT / "requirements.lock", ROOT / "tests" / "requirements.lock"]

# A room imports only rooms of earlier rows. A new room needs a place here.
ROWS = [
    {"__init__"},
    {"errors", "units", "correlation", "programme", "outside", "disk", "reread",
     "collector"},
    {"money", "textfiles"},
    {"catalogue"},
    {"shop", "survey", "ledger"},
    {"durations", "labour", "materials", "finishing", "outwork", "buying", "picking",
     "decisions", "bidding", "scoring", "variances", "earned", "control", "network", "investing"},
    {"scope", "learning"},
    {"estimate"},
    {"simulate"},
    {"quote"},
    {"trace", "options", "winning", "schedule", "resale"},
    {"plots", "documents", "jobs"},
    {"review", "demo", "auction"},
    {"pages", "commands"},
    {"cli"},
    {"__main__"},
]
ROW = {room: number for number, row in enumerate(ROWS) for room in row}
# Imported inside the functions that use them, so that commands start at once.
HEAVY = {"pandas", "matplotlib", "scipy", "typst", "sqlalchemy", "alembic", "psycopg",
         "openpyxl", "xlsxwriter", "IPython", "ipywidgets", "anywidget", "voila", "jupyter_server",
         "jupyterlab", "ortools", "holidays", "networkx"}


def _run(*command, **settings) -> str:
    """What a command prints; it must end well."""
    done = subprocess.run([*map(str, command)], text=True, capture_output=True, **settings)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def _modules() -> dict[str, Path]:
    """Dotted name of every module of the package, with its file."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def _imports(module: str, path: Path, known: set[str]) -> Iterator[str]:
    """Modules of the package that one module imports, anywhere in its text."""
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in known)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, base] if base else above)
            for alias in node.names:
                for name in (f"{base}.{alias.name}", base):
                    if name in known:
                        yield name
                        break


def _graph() -> dict[str, set[str]]:
    modules = _modules()
    known = set(modules)
    return {name: set(_imports(name, path, known)) for name, path in modules.items()}


def _room(module: str) -> str:
    return [*module.split("."), "__init__"][1]


def test_every_room_has_its_row():
    """A module that the table of rows does not know cannot be held to the order."""
    unknown = {_room(name) for name in _modules()} - set(ROW)
    assert not unknown, f"give these rooms a row in ROWS: {sorted(unknown)}"


def test_a_room_imports_only_rooms_of_earlier_rows():
    """No upward import and none from a neighbour in the same row."""
    wrong = [
        f"{module} imports {wanted}"
        for module, imports in _graph().items()
        for wanted in imports
        if _room(module) != _room(wanted) and ROW[_room(wanted)] >= ROW[_room(module)]
    ]
    assert not wrong, "\n".join(wrong)


def test_no_modules_import_each_other_in_a_circle():
    """Modules inside one room form no circle either."""
    graph = _graph()
    assert sum(map(len, graph.values())) > 20, "the imports were not read"
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        pytest.fail(" imports ".join(reversed(error.args[1])))


def _doors() -> dict[str, ast.FunctionDef | ast.ClassDef]:
    """Functions and classes that an `__all__` names or that another room uses, by dotted name."""
    trees = {name: ast.parse(path.read_text(encoding="utf-8"))
             for name, path in _modules().items()}
    made = {f"{module}.{node.name}": node for module, tree in trees.items() for node in tree.body
            if isinstance(node, ast.FunctionDef | ast.ClassDef)}
    homes: dict[str, str] = {}
    named: set[str] = set()
    for module, tree in trees.items():
        nodes = list(ast.walk(tree))
        taken = {alias.asname or alias.name: f"{node.module}.{alias.name}" for node in nodes
                 if isinstance(node, ast.ImportFrom) for alias in node.names}
        used = {*taken.values(), *(
            f"{taken[node.value.id]}.{node.attr}" for node in nodes
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
            and node.value.id in taken)}
        named |= {name for name in used
                  if name.startswith("estimator.") and _room(name) != _room(module)}
        for node in tree.body:
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
                words = ast.literal_eval(node.value)
                named |= {f"{module}.{word}" for word in words}
                homes |= {f"{module}.{word}": taken[word] for word in words if word in taken}
    found = {homes.get(name, name) for name in named}
    return {name: made[name] for name in sorted(found & made.keys())}


def test_every_door_of_a_room_has_an_example():
    """Who looks a function or a class up sees it used; a record of plain fields needs no example.

    Pages and commands are nobody's library: browsers and command lines try them.
    """
    doors = _doors()
    assert len(doors) > 300, "the doors were not read"
    bare = []
    for name, node in doors.items():
        methods = [part for part in node.body if isinstance(part, ast.FunctionDef)
                   and not part.name.startswith("_")]
        is_record = isinstance(node, ast.ClassDef) and not methods
        shown = any(">>> " in (ast.get_docstring(part) or "") for part in (node, *methods))
        if not (shown or is_record or _room(name) in {"pages", "commands"}):
            bare.append(name)
    assert not bare, "\n".join(bare)


def test_the_command_starts_without_heavy_libraries():
    """Importing the package and its command loads none of the libraries that take long."""
    code = "import sys, estimator, estimator.cli; print(*sys.modules)"
    loaded = _run(sys.executable, "-c", code, cwd=ROOT).split()
    assert "estimator.cli" in loaded
    assert not HEAVY & set(loaded)


def test_a_quote_needs_no_heavy_libraries(demo_survey_path):
    """Price, hours and odds come without a table library, a plotting one or scipy's statistics."""
    code = ("import sys; from estimator import cli; "
            "code = cli.main(['quote', sys.argv[1], '--level', 'shop-job', '--json']); "
            "print('loaded', *sys.modules, file=sys.stderr); sys.exit(code)")
    done = subprocess.run([sys.executable, "-c", code, demo_survey_path], cwd=ROOT, text=True,
                          capture_output=True)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["price"]
    loaded = set(done.stderr.split())
    assert {"loaded", "estimator.simulate"} <= loaded
    assert not HEAVY & loaded


def _opens_text(call: ast.Call) -> bool:
    """Whether a call reads or writes a file as text: open(path), path.open(), path.read_text() …"""
    modes = [part.value for part in [*call.args, *(k.value for k in call.keywords)]
             if isinstance(part, ast.Constant) and re.fullmatch("[rwxabt+]{1,4}", str(part.value))]
    binary = any("b" in mode for mode in modes)
    if isinstance(call.func, ast.Name):
        return call.func.id == "open" and not binary
    name = getattr(call.func, "attr", "")
    # Others have an `open` too, such as a browser or an archive, and give it something to open.
    of_path = name == "open" and (bool(modes) or not call.args)
    # A part of an archive is bytes, whatever its mode says.
    part = "force_zip64" in {keyword.arg for keyword in call.keywords}
    return name in {"read_text", "write_text"} or (of_path and not binary and not part)


def test_text_files_name_their_encoding():
    """A file is read the same on a computer whose own encoding is not UTF-8."""
    calls = [
        (path, node)
        for path in [*PACKAGE.rglob("*.py"), ROOT / "start.py"]
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and _opens_text(node)
    ]
    assert calls
    wrong = [
        f"{path.relative_to(ROOT)}, line {call.lineno}: {ast.unparse(call)}"
        for path, call in calls
        if "encoding" not in {keyword.arg for keyword in call.keywords}
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("lock", LOCKS, ids=lambda path: path.parent.name)
def test_locks_pin_every_package_with_its_hashes(lock):
    """Every line of a lock is an exact version followed by hashes, and nothing else."""
    text = lock.read_text(encoding="utf-8").replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line.strip()]
    assert len(lines) > 10
    pinned = re.compile(r"[a-z0-9._\-]+==[^\s;]+( ; [^#]+?)?( +--hash=sha256:[0-9a-f]{64})+ *")
    assert [line for line in lines if not pinned.fullmatch(line)] == []


def test_test_lock_agrees_with_the_main_lock():
    """A package that both locks name has the same versions in both."""
    versions = []
    for lock in LOCKS:
        found: dict[str, set[str]] = {}
        for name, pin in re.findall(r"(?m)^([a-z0-9._\-]+)==(\S+)", lock.read_text("utf-8")):
            found.setdefault(name, set()).add(pin)
        versions.append(found)
    main, tests = versions
    assert {name: pins for name, pins in tests.items() if not pins <= main.get(name, pins)} == {}


def _tracked() -> list[Path]:
    listing = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True)
    if listing.returncode:
        pytest.skip("not a git checkout")
    return [ROOT / name for name in listing.stdout.split("\0") if name]


def test_no_file_names_a_package_index():
    """Where packages come from is the user's pip to say, not ours."""
    # In parts, so that this file does not name one either.
    pattern = re.compile("--(?:extra-)?index" + "-url|py" + "pi[.]org|python" + "hosted[.]org")
    wrong = [
        path.name
        for path in _tracked()
        if path.is_file() and pattern.search(path.read_bytes().decode("utf-8", "ignore"))
    ]
    assert not wrong


def test_notebooks_are_kept_without_outputs():
    """A notebook in the project holds no result of a run and no cell longer than a glance."""
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            assert not cell.get("outputs"), f"{path.name}: run nbstripout on it"
            assert cell.get("execution_count") is None, f"{path.name}: run nbstripout on it"
            assert len(cell["source"]) <= 12, f"{path.name}: move the code into a room"


def _shipped() -> set[str]:
    """Names that an installed package must hold, from what stands in the checkout."""
    folders = {PACKAGE: "estimator", ROOT / "data": "estimator/data",
               ROOT / "notebooks": "estimator/notebooks"}
    skipped = {"__pycache__", ".ipynb_checkpoints"}
    return {
        f"{inside}/{path.relative_to(folder).as_posix()}"
        for folder, inside in folders.items()
        for path in folder.rglob("*")
        if path.is_file() and not skipped & set(path.parts)
    }


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """A wheel made from the source archive, as an index would be given both; no network."""
    folder = tmp_path_factory.mktemp("built")
    _run(sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", folder, cwd=ROOT)
    (archive,) = folder.glob("*.tar.gz")
    with tarfile.open(archive) as held:
        assert any(name.endswith("/tests/test_house.py") for name in held.getnames())
    _run(sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--no-index",
         "-w", folder, archive)
    (made,) = folder.glob("*.whl")
    return made


def test_wheel_holds_the_package_its_tables_and_its_notebooks(wheel):
    """Every file of the package, every table, the demo and every notebook; no tests."""
    with zipfile.ZipFile(wheel) as held:
        names = set(held.namelist())
        facts = held.read(next(n for n in names if n.endswith(".dist-info/METADATA"))).decode()
    assert {"estimator/data/eras.csv", "estimator/data/demo/survey.csv"} <= _shipped()
    assert _shipped() <= names
    others = {name for name in names - _shipped() if ".dist-info/" not in name}
    assert not others
    assert any(name.endswith(".dist-info/licenses/LICENSE") for name in names)
    assert f"\nVersion: {estimator.__version__}\n" in facts


def test_the_python_that_is_asked_for_is_one_in_all_places():
    """Required by the package, named by its classifiers, asked for by start.py, styled for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    named = [tuple(map(int, found[1].split("."))) for said in project["project"]["classifiers"]
             if (found := re.fullmatch(r"Programming Language :: Python :: (3\.\d+)", said))]
    (asked,) = re.findall(r"^OLDEST = \((\d+), (\d+)\)$",
                          (ROOT / "start.py").read_text(encoding="utf-8"), re.M)
    oldest = tuple(map(int, asked))
    assert project["project"]["requires-python"] == ">={}.{}".format(*oldest)
    assert project["tool"]["ruff"]["target-version"] == "py{}{}".format(*oldest)
    assert named == [(3, minor) for minor in range(oldest[1], named[-1][1] + 1)]


def test_installed_copy_runs_on_its_own_tables(wheel, tmp_path):
    """Away from the checkout, the command starts and reads the tables it was shipped with."""
    place = tmp_path / "site"
    _run(sys.executable, "-m", "pip", "install", "--no-deps", "--no-index", "--target", place,
         wheel)
    away = {"cwd": tmp_path, "env": os.environ | {"PYTHONPATH": str(place)}}
    assert "quote" in _run(sys.executable, "-m", "estimator", "--help", **away)
    code = "from estimator import catalogue as c; c.load(); print(c.data_folder())"
    assert Path(_run(sys.executable, "-c", code, **away).strip()) == place / "estimator" / "data"


def _at_import(node: ast.AST) -> Iterator[ast.AST]:
    """What runs as a module is loaded: all but what stands in functions."""
    inner = [*node.args.defaults, *node.args.kw_defaults, *getattr(node, "decorator_list", [])] \
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) \
        else ast.iter_child_nodes(node)
    for one in inner:
        if one is not None:
            yield one
            yield from _at_import(one)


def test_no_test_takes_the_day_as_it_is_loaded():
    """Tests run minutes after they are loaded, and then it may be another day."""
    wrong = [f"{path.name}, line {node.lineno}" for path in sorted(ROOT.glob("tests/**/*.py"))
             for node in _at_import(ast.parse(path.read_text(encoding="utf-8")))
             if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
             and node.func.attr in ("now", "today")]
    assert wrong == []
