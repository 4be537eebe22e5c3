"""The project's own papers: locks, versions, the changelog and the words on every output."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import rimwright
from rimwright.report.wording import NOTICE

REPO = Path(__file__).resolve().parents[1]
LOCKS = sorted((REPO / "requirements").glob("*.txt"))
PIN = re.compile(r"^([A-Za-z0-9._-]+)==(\S+?)(?: ;.*)? \\$")
EXTRAS_OF = {"run.txt": (), "dev.txt": ("dev", "bench"), "docs.txt": ("docs",)}


def project() -> dict[str, object]:
    """The project table of pyproject.toml."""
    return tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def pins(lock: Path) -> dict[str, list[str]]:
    """Package to the versions a lock pins; two where they differ by Python."""
    found: dict[str, list[str]] = {}
    for line in lock.read_text(encoding="utf-8").splitlines():
        if match := PIN.match(line):
            found.setdefault(canonicalize_name(match[1]), []).append(match[2])
    return found


@pytest.mark.parametrize("lock", LOCKS, ids=lambda lock: lock.name)
def test_lock_holds_names_versions_and_hashes_only(lock: Path) -> None:
    """No address, no local path, nothing without a hash."""
    for line in lock.read_text(encoding="utf-8").splitlines():
        is_hash = re.fullmatch(r"    --hash=sha256:[0-9a-f]{64}( \\)?", line)
        assert is_hash or PIN.match(line), line


@pytest.mark.parametrize(("name", "extras"), EXTRAS_OF.items(), ids=EXTRAS_OF)
def test_lock_satisfies_pyproject(name: str, extras: tuple[str, ...]) -> None:
    """Every dependency asked for is pinned at a version that was asked for; else `make lock`."""
    table = project()
    wanted = list(table["dependencies"])
    for extra in extras:
        wanted += table["optional-dependencies"][extra]
    locked = pins(REPO / "requirements" / name)
    for text in wanted:
        requirement = Requirement(text)
        versions = locked.get(canonicalize_name(requirement.name), [])
        assert versions, f"{requirement.name} is not in {name}: run make lock"
        assert all(requirement.specifier.contains(version) for version in versions), text


def test_locks_agree_with_one_another() -> None:
    """A package has one set of versions in all locks it is in."""
    seen: dict[str, list[str]] = {}
    for lock in LOCKS:
        for package, versions in pins(lock).items():
            assert seen.setdefault(package, versions) == versions, package


def imported_names(folder: Path) -> set[str]:
    """First names of everything the files of a folder import, at any depth."""
    found: set[str] = set()
    for file in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                found.add(node.module.split(".")[0])
            elif isinstance(node, ast.Call) and "find_spec" in ast.dump(node.func):
                # what is looked up without being imported (fonts of a library) is needed too
                found |= {a.value for a in node.args if isinstance(a, ast.Constant)}
    return found - sys.stdlib_module_names


def packages_of(names: set[str]) -> set[str]:
    """The packages that top-level modules come from."""
    owners = metadata.packages_distributions()  # knows no library made of one compiled file
    return {canonicalize_name(owner) for name in names for owner in owners.get(name, [name])}


def test_the_package_imports_what_it_asks_for_and_nothing_else() -> None:
    """Every library imported is a declared dependency, and every dependency is imported."""
    wanted = {canonicalize_name(Requirement(text).name) for text in project()["dependencies"]}
    assert packages_of(imported_names(REPO / "src") - {"rimwright"}) == wanted


@pytest.mark.parametrize("folder", ["tests", "benchmarks"])
def test_what_tests_import_is_in_the_development_lock(folder: str) -> None:
    """A test runs with the locked libraries and no other."""
    folders = (REPO / "tests", REPO / "benchmarks")  # a benchmark may stand on a test's bones
    own = {path.stem for home in folders for path in home.rglob("*")} | {folder, "rimwright"}
    locked = pins(REPO / "requirements" / "dev.txt") | pins(REPO / "requirements" / "bones.txt")
    assert packages_of(imported_names(REPO / folder) - own) <= set(locked)


def test_version_stands_in_one_place() -> None:
    """The installed version is that of the source tree: `__version__`, and no second copy."""
    assert metadata.version("rimwright") == rimwright.__version__
    assert "version" not in project()


def test_changes_stand_under_a_kind() -> None:
    """Every file of changelog.d is named SUBJECT.KIND.md with one of the four kinds."""
    pattern = re.compile(r"[a-z0-9-]+\.(added|changed|fixed|removed)\.md|README\.md")
    names = [path.name for path in (REPO / "changelog.d").iterdir()]
    assert all(pattern.fullmatch(name) for name in names), names


@pytest.mark.parametrize(
    "page",
    ["README.md", "docs/index.md", "docs/safety.md", "docs/_templates/layout.html"],
)
def test_the_notice_reads_the_same_everywhere(page: str) -> None:
    """The sentence on every output stands word for word in the papers too."""
    text = (REPO / page).read_text(encoding="utf-8")
    assert NOTICE in " ".join(text.split())


def test_nothing_is_called_safe_or_recommended() -> None:
    """No sentence of the documentation calls a path, an option or a hip safe or recommended."""
    pages = [REPO / "README.md", *sorted((REPO / "docs").rglob("*.md"))]
    generated = {"evidence", "api"}  # titles of papers say so; the code's own words are held there
    for page in pages:
        if generated & set(page.parts) or "_build" in page.parts:
            continue
        words = re.findall(
            r"\b(safe|safely|recommended)\b", page.read_text(encoding="utf-8").lower()
        )
        assert not words, page
