"""The house's own rules, held against the code: who may know whom, what a stage may touch, how large a module may grow."""

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
PACKAGE = ROOT / "pipeline" / "pullbook"
MODULES = sorted(PACKAGE.rglob("*.py"))

#: Rooms whose modules take tables and give tables, and touch nothing else.
PURE = {"stages", "alignment", "timing", "hill", "findings", "advice", "comparison", "measure", "pulls", "channels"}


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(path: Path) -> Iterator[str]:
    """Full names of everything a module imports, at its top or inside functions."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


def room(path: Path) -> str:
    parts = path.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else path.stem


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


every_module = pytest.mark.parametrize("path", MODULES, ids=named)


@every_module
def test_the_package_knows_neither_its_tests_nor_its_scheduler(path: Path) -> None:
    known = {name.split(".")[0] for name in imports(path)}
    assert not known & {"tests", "snakemake", "pytest", "hypothesis"}


@every_module
def test_pictures_are_drawn_without_global_state(path: Path) -> None:
    assert not any(name.startswith("matplotlib.pyplot") or name == "pylab" for name in imports(path))
    if room(path) != "report":
        assert not any(name.startswith("matplotlib") for name in imports(path))


@pytest.mark.parametrize("path", [*MODULES, *sorted((ROOT / "tests").rglob("*.py"))], ids=named)
def test_a_module_fits_on_a_few_screens(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 300


@every_module
def test_what_is_public_is_described(path: Path) -> None:
    """Modules, and functions and classes that other modules may use; what is nested in a function is its own affair."""
    module = tree(path)
    if module.body:
        assert ast.get_docstring(module), "the module says what it is for"
    shown = [n for n in module.body if isinstance(n, ast.FunctionDef | ast.ClassDef)]
    shown += [m for c in shown if isinstance(c, ast.ClassDef) for m in c.body if isinstance(m, ast.FunctionDef)]
    bare = [n.name for n in shown if not n.name.startswith("_") and not ast.get_docstring(n)]
    assert bare == []


@every_module
def test_nobody_reaches_into_another_modules_own_names(path: Path) -> None:
    taken = [n for n in imports(path) if n.startswith("pullbook.") and re.fullmatch(r"_[a-z].*", n.rsplit(".", 1)[-1])]
    assert taken == []


@every_module
def test_a_name_is_given_once_in_a_module(path: Path) -> None:
    """The later of two constants of one name counts for what was written under the earlier one too."""
    given = [name for node in tree(path).body for name in _given(node)]
    assert sorted({name for name in given if given.count(name) > 1}) == []


def _given(node: ast.stmt) -> list[str]:
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return [node.name]
    targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
    return [t.id for t in targets if isinstance(t, ast.Name)]


@every_module
def test_a_reference_in_words_leads_somewhere(path: Path) -> None:
    """``:func:`name` `` names what the module itself has or imports; a full name names what another one has."""
    astray = []
    for kind, name in re.findall(r":(mod|class|func|meth|data):`~?([^`]+)`", path.read_text(encoding="utf-8")):
        inside = path.parent.relative_to(PACKAGE.parent).as_posix().replace("/", ".")
        full = f"{inside}{name}" if name.startswith(".") else name if "." in name else f"{inside}.{path.stem}.{name}"
        if not (kind == "mod" and (path.parent / f"{name}.py").exists()) and not _is_there(full):
            astray.append(name)
    assert astray == []


def _is_there(name: str) -> bool:
    """Whether a dotted name leads to a module, or to a name written somewhere in one."""
    parts = name.split(".")
    for length in range(len(parts), 0, -1):
        file = PACKAGE.parent.joinpath(*parts[:length])
        module = file / "__init__.py" if file.is_dir() else file.with_suffix(".py")
        if module.exists():
            words = {n.id for n in ast.walk(tree(module)) if isinstance(n, ast.Name)}
            words |= {n.name for n in ast.walk(tree(module)) if isinstance(n, ast.FunctionDef | ast.ClassDef | ast.alias)}
            return set(parts[length:]) <= words
    return False


@every_module
def test_names_say_what_a_module_is_for(path: Path) -> None:
    assert not {"utils", "util", "helpers", "helper", "manager", "misc", "common"} & set(
        path.relative_to(PACKAGE).with_suffix("").parts
    )


@pytest.mark.parametrize("path", [p for p in MODULES if room(p) in PURE or p.name == "air.py"], ids=named)
def test_a_stage_is_pure(path: Path) -> None:
    """Tables in, tables out: no files, no clock, no environment, no printing."""
    known = {name.split(".")[0] for name in imports(path)}
    assert not known & {"os", "pathlib", "shutil", "subprocess", "time", "tempfile", "sys", "logging"}
    calls = {n.func.id for n in ast.walk(tree(path)) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
    assert not calls & {"open", "print", "input", "exec", "eval"}
    called = {n.func for n in ast.walk(tree(path)) if isinstance(n, ast.Call)}
    methods = {(ast.unparse(f.value), f.attr) for f in called if isinstance(f, ast.Attribute)}
    files = {"read_csv", "read_parquet", "write_parquet", "write_csv", "read_text", "write_text", "read_bytes", "write_bytes"}
    assert not {name for _, name in methods} & files
    assert not {of for of, name in methods if name in ("now", "utcnow", "today")} & {"datetime", "date"}
    assert not any(isinstance(n, ast.Global) for n in ast.walk(tree(path)))


def module_of(name: str) -> Path | None:
    """The module that an imported name comes from: itself, or what it is taken out of; None outside the package."""
    while name.startswith("pullbook."):
        place = PACKAGE.joinpath(*name.split(".")[1:])
        for path in (place.with_suffix(".py"), place / "__init__.py"):
            if path.is_file():
                return path
        name = name.rpartition(".")[0]
    return None


def circle(knows: dict[str, set[str]]) -> list[str]:
    """The first way found from a node back to itself, over any number of others; empty where there is none."""
    try:
        TopologicalSorter(knows).prepare()
    except CycleError as found:
        return list(found.args[1])
    return []


def test_circles_of_any_length_are_found() -> None:
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"d"}}) == []
    assert set(circle({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}})) == {"a", "b", "c"}


@pytest.mark.parametrize("of", [room, named], ids=["rooms", "modules"])
def test_nobody_knows_one_who_knows_them(of: Callable[[Path], str]) -> None:
    """No circle of any length, late imports included: each room can be read, tested and changed before those that use it."""
    knows: dict[str, set[str]] = {of(p): set() for p in MODULES}
    for path in MODULES:
        knows[of(path)] |= {of(known) for name in imports(path) if (known := module_of(name))} - {of(path)}
    assert sum(map(len, knows.values())) > len(knows), "imports were found"
    assert circle(knows) == []


def test_a_room_is_no_crowd() -> None:
    """A newcomer finds a module by its room: thirty in one folder is where finding ends."""
    crowds = {p.parent.name: sum(q.parent == p.parent for q in MODULES) for p in MODULES}
    assert {name for name, many in crowds.items() if many > 30} == set()


def test_conversion_factors_of_units_stand_in_one_place() -> None:
    """Exact factors of row U1 as digits anywhere else would be a second truth."""
    digits = re.compile(r"\b(1\.3558\d*|745\.699\d*|735\.4\d*|3\.3863\d*|6\.8947\d*|0\.45359\d*|9\.80665|9\.549\d*|98\.0665)\b")
    found = [named(p) for p in MODULES if p.name != "units.py" and digits.search(_code(p))]
    assert [f for f in found if not f.endswith("air.py")] == []  # gravity of the standard atmosphere is its own constant


def _code(path: Path) -> str:
    """A module without its docstrings."""
    text = path.read_text(encoding="utf-8")
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and (said := ast.get_docstring(node, clean=False)):
            text = text.replace(said, "")
    return text


def test_asking_for_help_loads_nothing_heavy() -> None:
    heavy = {"numpy", "polars", "pandas", "scipy", "matplotlib", "pyarrow", "snakemake", "jinja2", "yaml"}
    code = "import sys\nfrom pullbook import cli\n"
    code += "try: cli.main(['run', '--help'])\nexcept SystemExit: print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT / "pipeline", check=True)
    assert not heavy & set(done.stderr.split())


def test_nothing_in_the_tree_needs_a_place_outside_it() -> None:
    """No path of a machine and no address in code, tests, pages and settings, but for names of XML vocabularies."""
    vocabularies = r"https?://(?!www\.w3\.org/|schemas\.openxmlformats\.org/|example\.invalid)"
    places = re.compile(vocabularies + r"|(?<![\w.])/(?:work|root|home|Users)/|\.\./shared")
    endings = {".py", ".md", ".toml", ".yaml", ".smk", ".j2", ".css", ".cfg", ""}
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True).stdout.split("\n")
    wrong = []
    for name in filter(None, listed):
        path = ROOT / name
        if path.suffix in endings and path.is_file() and "cc-by-sa" not in name and name != "LICENSE" and path != Path(__file__):
            hits = places.findall(path.read_text(encoding="utf-8", errors="replace"))
            wrong += [f"{name}: {hits[:3]}"] if hits else []
    assert wrong == []
