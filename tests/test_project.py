"""The project's own papers: locks, versions, the changelog and the words on every output."""

from __future__ import annotations

import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import rimwright

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


def test_every_import_of_another_library_is_declared() -> None:
    """The package imports no library that it does not ask for, and asks for none it leaves."""
    names = {canonicalize_name(Requirement(text).name) for text in project()["dependencies"]}
    pattern = re.compile(r"^\s*(?:import|from) ([a-z_0-9A-Z]+)", re.MULTILINE)
    used = set()
    for file in (REPO / "src" / "rimwright").rglob("*.py"):
        used |= set(pattern.findall(file.read_text(encoding="utf-8")))
    used -= sys.stdlib_module_names | {"rimwright"}
    owners = metadata.packages_distributions()  # knows no library made of one compiled file
    assert {canonicalize_name(o) for name in used for o in owners.get(name, [name])} == names


def test_version_stands_in_one_place() -> None:
    """The installed version is that of the source tree: `__version__`, and no second copy."""
    assert metadata.version("rimwright") == rimwright.__version__
    assert "version" not in project()


def test_changes_stand_under_a_kind() -> None:
    """Every file of changelog.d is named SUBJECT.KIND.md with one of the four kinds."""
    pattern = re.compile(r"[a-z0-9-]+\.(added|changed|fixed|removed)\.md|README\.md")
    names = [path.name for path in (REPO / "changelog.d").iterdir()]
    assert all(pattern.fullmatch(name) for name in names), names
