"""The house stands as designed: import directions, names, what is installed, what the locks may hold.

The rules come from DEVELOPERS.md; there is nothing outside the project to compare them with.
"""

import ast
import re
import subprocess
import sys
import tomllib
import zipfile
from importlib import metadata
from itertools import permutations
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
PACKAGES: list[str] = PROJECT["tool"]["setuptools"]["packages"]
HOUSE = ["schemas", "physics", "capture", "extract", "checks", "jobs", "front"]
# Who may import whom; everything else is forbidden.
MAY_IMPORT = {
    "schemas": set(),
    "physics": {"schemas"},
    "capture": {"schemas"},
    "extract": {"schemas", "physics"},
    "checks": {"schemas", "physics"},
    "jobs": {"schemas", "physics", "capture", "extract", "checks"},
    "front": {"schemas", "physics", "capture", "extract", "checks", "jobs"},
}
LOCKS = ["run.lock", "test.lock", "peers.lock"]


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [
        str(Path(sys.executable).with_name("lint-imports")),
        "--no-cache",
        "--no-logo",
        "--config",
        "pyproject.toml",
    ]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, env={"COLUMNS": "200"}, check=False)


def sources() -> list[Path]:
    """Every Python file of the repository, the packages first."""
    folders = [*HOUSE, "tests", "samples", "bench", "training"]
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def normal(name: str) -> str:
    """The one spelling of a distribution's name (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def locked(name: str) -> dict[str, set[str]]:
    """Package to locked versions (one for each range of Python versions)."""
    found: dict[str, set[str]] = {}
    for line in (ROOT / "requirements" / name).read_text().splitlines():
        if line and line[0].isalnum():
            package, version = line.split(" ")[0].split("==")
            found.setdefault(package, set()).add(version)
    return found


# -- import directions -------------------------------------------------------------------------------------------------


def test_imports_go_downwards() -> None:
    result = lint_imports(ROOT)
    assert result.returncode == 0, result.stdout + result.stderr


def test_every_forbidden_import_would_be_found(tmp_path: Path) -> None:
    (tmp_path / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    for package in HOUSE:
        (tmp_path / package).mkdir()
        (tmp_path / package / "__init__.py").touch()
    for importer, imported in permutations(HOUSE, 2):
        (tmp_path / importer / f"uses_{imported}.py").write_text(f"import {imported}\n")
    for outside in ("bench", "torch", "requests"):
        (tmp_path / "capture" / f"uses_{outside}.py").write_text(f"import {outside}\n")
    result = lint_imports(tmp_path)
    assert result.returncode == 1, result.stdout + result.stderr
    found = set(re.findall(r"(\w+)\.uses_\w+ -> (\w+)", result.stdout))
    expected = {pair for pair in permutations(HOUSE, 2) if pair[1] not in MAY_IMPORT[pair[0]]}
    assert found == expected | {("capture", "bench"), ("capture", "torch"), ("capture", "requests")}


# -- names and what is installed ---------------------------------------------------------------------------------------


def test_the_house_has_the_rooms_of_the_design() -> None:
    assert sorted({name.split(".")[0] for name in PACKAGES}) == sorted(HOUSE)
    assert PROJECT["tool"]["importlinter"]["root_packages"] == HOUSE


@pytest.mark.parametrize("package", HOUSE)
def test_package_is_typed_says_what_it_holds_and_has_no_unlisted_room(package: str) -> None:
    folder = ROOT / package
    assert (folder / "py.typed").is_file()
    assert ast.get_docstring(ast.parse((folder / "__init__.py").read_text()))
    rooms = {".".join(path.parent.relative_to(ROOT).parts) for path in folder.rglob("*.py")}
    assert rooms - set(PACKAGES) == set(), "a folder with Python files must be listed in pyproject.toml to be installed"


@pytest.mark.parametrize("package", HOUSE)
def test_import_name_belongs_to_sayback_alone(package: str) -> None:
    # `capture`, `extract` and `schemas` are also names of other people's distributions.
    assert set(metadata.packages_distributions()[package]) == {"sayback"}


def test_what_stays_in_the_repository_is_not_installed() -> None:
    owners = metadata.packages_distributions()
    assert [name for name in ("bench", "samples", "training", "tests", "docs", "script") if name in owners] == []


@pytest.mark.slow
def test_wheel_holds_every_data_file_and_nothing_of_the_repository(tmp_path: Path) -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split(
        "\n"
    )
    source = tmp_path / "source"
    for name in filter(None, tracked):
        if (ROOT / name).is_file() and (name.split("/")[0] in {*HOUSE, "requirements"} or "/" not in name):
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            (source / name).write_bytes((ROOT / name).read_bytes())
    build = ["wheel", "--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--wheel-dir", str(tmp_path), "."]
    subprocess.run([sys.executable, "-m", "pip", *build], cwd=source, check=True, capture_output=True)
    (wheel,) = tmp_path.glob("sayback-*.whl")
    names = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    assert names == {name for name in tracked if name.split("/")[0] in HOUSE and "/" in name}


def exports(tree: ast.Module) -> list[str] | None:
    for node in tree.body:
        if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets):
            names = ast.literal_eval(node.value)
            return [str(name) for name in names]
    return None


def names_bound(tree: ast.Module) -> set[str]:
    bound: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            bound.add(node.name)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            bound |= {alias.asname or alias.name.split(".")[0] for alias in node.names}
        else:
            bound |= {n.id for n in ast.walk(node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
    return bound


def wrong_exports(source: str, is_package: bool) -> list[str]:
    tree = ast.parse(source)
    listed = exports(tree)
    bound = names_bound(tree)
    if listed is None:
        # An __init__ that hands names on must say which.
        return sorted(name for name in bound if is_package and not name.startswith("_"))
    return sorted([name for name in listed if name not in bound] + [n for n in set(listed) if listed.count(n) > 1])


@pytest.mark.parametrize("package", HOUSE)
def test_exports_are_true(package: str) -> None:
    wrong = {
        path.relative_to(ROOT).as_posix(): names
        for path in sorted((ROOT / package).glob("*.py"))
        if (names := wrong_exports(path.read_text(), path.name == "__init__.py"))
    }
    assert wrong == {}


def test_false_exports_would_be_found() -> None:
    assert wrong_exports("from a import b, c\n__all__ = ['b', 'd', 'b']\n", is_package=True) == ["b", "d"]
    assert wrong_exports("from a import b\n", is_package=True) == ["b"]
    assert wrong_exports("from a import b\nX: int = 1\n__all__ = ['X', 'b']\n", is_package=False) == []


# -- how the code is kept ----------------------------------------------------------------------------------------------

EXCUSES = re.compile(r"#\s*(?:type:\s*ignore|noqa)(?:\[[\w, -]+\]|:\s*[A-Z]+\d+(?:,\s*[A-Z]+\d+)*)?(?P<reason>.*)")
PROMISES = re.compile(r"#.*\b(?:TO" + r"DO|FIX" + r"ME|XX" + r"X)\b")


def faults_of(text: str) -> list[str]:
    """What the house does not allow in a Python file: endless files, promises, excuses without a reason."""
    lines = text.splitlines()
    faults = [f"{len(lines)} lines"] if len(lines) > 600 else []
    for number, line in enumerate(lines, 1):
        excuse = EXCUSES.search(line)
        if PROMISES.search(line) or (excuse and len(re.findall(r"[a-z]{2,}", excuse["reason"])) < 2):
            faults.append(f"{number}: {line.strip()}")
    return faults


def test_files_are_short_and_every_excuse_has_its_reason() -> None:
    faults = {path.relative_to(ROOT).as_posix(): faults_of(path.read_text()) for path in sources()}
    assert {name: found for name, found in faults.items() if found} == {}


def test_faults_would_be_found() -> None:
    ignore = "x = f()  # type: " + "ignore[attr-defined]"
    assert faults_of(ignore) == [f"1: {ignore}"]
    assert faults_of(ignore + "  # the stub lacks it") == []
    assert len(faults_of("x = 1  # TO" + "DO later")) == 1
    assert faults_of("\n" * 601) == ["601 lines"]


# -- locks -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", LOCKS)
def test_lock_holds_names_versions_and_hashes_only(name: str) -> None:
    text = (ROOT / "requirements" / name).read_text()
    package = re.compile(r"[a-z0-9][a-z0-9-]*==[\w.]+( ; [\w.<>=!' ]+)? \\")
    shapes = re.compile(rf"{package.pattern}|    --hash=sha256:[0-9a-f]{{64}}( \\)?|    #( .*)?")
    assert [line for line in text.splitlines() if not shapes.fullmatch(line)] == []
    assert re.findall(r"://|file:|(?<!\w)/\w|\bindex\b|find-links", text) == []
    assert len(re.findall(rf"(?m)^{package.pattern}\n    --hash=", text)) == sum(len(v) for v in locked(name).values())


@pytest.mark.parametrize(
    ("lock", "asked"),
    [("run.lock", ["run.in", "build.in"]), ("test.lock", ["test.in"]), ("peers.lock", ["peers.in"])],
)
def test_lock_holds_everything_that_is_asked_for(lock: str, asked: list[str]) -> None:
    lines = [line for name in asked for line in (ROOT / "requirements" / name).read_text().splitlines()]
    wanted = [Requirement(line) for line in lines if line and line[0] not in "#-"]
    have = locked(lock)
    assert wanted
    assert [str(want) for want in wanted if not have.get(normal(want.name))] == []
    assert [str(want) for want in wanted if not all(want.specifier.contains(v) for v in have[normal(want.name)])] == []


def test_locks_agree_with_one_another() -> None:
    run, test, peers = (locked(name) for name in LOCKS)
    assert {name for name in run.keys() & test.keys() if run[name] != test[name]} == set()
    assert {name for name in peers.keys() & run.keys() if peers[name] != run[name]} == set()
    assert {name for name in peers.keys() & test.keys() if peers[name] != test[name]} == set()


@pytest.mark.parametrize(
    ("unwanted", "why"),
    [
        ("opencv-python", "the headless build gives the same module without a display's libraries"),
        ("opencv-contrib-python", "as above"),
        ("torch", "nothing learns at run time"),
        ("tensorflow", "nothing learns at run time"),
        ("pillow-heif", "its wheel carries a GPL encoder"),
        ("piper-tts", "GPL"),
    ],
)
def test_run_lock_has_no(unwanted: str, why: str) -> None:
    assert unwanted not in locked("run.lock"), why


def test_the_installed_packages_are_the_locked_ones() -> None:
    wanted = locked("run.lock") | locked("test.lock")
    installed = {normal(dist.name): dist.version for dist in metadata.distributions()}
    assert {n: v for n, v in installed.items() if n in wanted and v not in wanted[n]} == {}
    assert [
        line for line in metadata.requires("sayback") or [] if normal(Requirement(line).name) not in installed
    ] == []
