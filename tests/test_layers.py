"""The shape of the tree: layers point down, faces are complete, a bare import is light."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import subprocess
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest

import rimwright

REPO = Path(__file__).resolve().parents[1]
SOURCE = REPO / "src" / "rimwright"
ABOVE_THE_DOMAIN = {"cli", "site"}
LIGHT_ONLY = {"anatomy", "errors", "evidence", "units"}
HEAVY = (
    "django",
    "manifold3d",
    "matplotlib",
    "numba",
    "numpy",
    "pydantic",
    "rich",
    "scipy",
    "trimesh",
    "typer",
    "typst",
)
FORBIDDEN_WORDS = {"utils", "helpers", "manager", "base", "common"}


def units_of_the_tree() -> set[str]:
    """Every package or module right under rimwright."""
    return {module.name for module in pkgutil.iter_modules([str(SOURCE)])} - {"__main__"}


def packages() -> list[str]:
    """Dotted names of all packages with a public face."""
    found = [rimwright.__name__]
    found += [
        module.name
        for module in pkgutil.walk_packages([str(SOURCE)], prefix="rimwright.")
        if module.ispkg
    ]
    return sorted(found)


def contracts() -> dict[str, dict[str, object]]:
    """The import-linter contracts by name."""
    text = (REPO / "pyproject.toml").read_text(encoding="utf-8")
    return {c["name"]: c for c in tomllib.loads(text)["tool"]["importlinter"]["contracts"]}


def run_python(code: str) -> subprocess.CompletedProcess[str]:
    """Run code in a fresh interpreter."""
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=REPO
    )


def test_arrows_point_down() -> None:
    """No layer imports one above it or beside it, and no folder stands outside the layers."""
    run = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-logo", "--no-cache"],
        capture_output=True,
        text=True,
        check=False,
        cwd=REPO,
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_no_existing_layer_is_marked_as_missing() -> None:
    """Parentheses in the contract stand round layers that do not exist, and round no other."""
    (layers,) = (c["layers"] for c in contracts().values() if c["type"] == "layers")
    names = [name.strip() for line in layers for name in line.split("|")]
    optional = {name.strip("()") for name in names if name.startswith("(")}
    named = {name.strip("()") for name in names}
    assert units_of_the_tree() == named - optional


@pytest.mark.parametrize(
    ("contract", "expected"),
    [
        (
            "no site or terminal library below the site and the command",
            units_of_the_tree() - ABOVE_THE_DOMAIN,
        ),
        (
            "records, evidence and units need numpy and the standard library only",
            units_of_the_tree() & LIGHT_ONLY,
        ),
    ],
)
def test_forbidden_contracts_forget_no_layer(contract: str, expected: set[str]) -> None:
    """A new layer is put under the contract that forbids it the libraries of the layers above."""
    listed = contracts()[contract]["source_modules"]
    assert sorted(listed) == sorted(f"rimwright.{name}" for name in expected)


@pytest.mark.parametrize("name", packages())
def test_face_is_complete_and_sorted(name: str) -> None:
    """`__all__` is sorted, names only what exists, and names all that `__init__` imports."""
    module: ModuleType = importlib.import_module(name)
    if name == "rimwright":
        assert set(vars(module)) >= {"__version__"}
        return
    face = list(module.__all__)
    assert face == sorted(face)
    assert len(face) == len(set(face))
    missing = [entry for entry in face if not hasattr(module, entry)]
    assert not missing
    tree = ast.parse(Path(module.__file__ or "").read_text(encoding="utf-8"))
    imported = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rimwright")
        for alias in node.names
    }
    assert imported <= set(face)


@pytest.mark.parametrize("name", [name for name in packages() if name != "rimwright"])
def test_init_only_re_exports(name: str) -> None:
    """An `__init__` holds imports, `__all__` and, for a face loaded late, `__getattr__`."""
    module = importlib.import_module(name)
    tree = ast.parse(Path(module.__file__ or "").read_text(encoding="utf-8"))
    for node in tree.body:
        is_docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        is_import = isinstance(node, (ast.Import, ast.ImportFrom))
        is_lazy_face = isinstance(node, ast.FunctionDef) and node.name in {
            "__dir__",
            "__getattr__",
        }
        is_main = name == "rimwright.cli" and isinstance(node, ast.FunctionDef)
        is_table = isinstance(node, (ast.Assign, ast.AnnAssign))
        is_typing = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        assert any((is_docstring, is_import, is_lazy_face, is_main, is_table, is_typing)), (
            f"{name}: line {node.lineno} does work in an __init__"
        )


def test_no_file_is_named_for_nothing() -> None:
    """A file is named for what it holds."""
    bad = [p.name for p in SOURCE.rglob("*.py") if FORBIDDEN_WORDS & set(p.stem.split("_"))]
    assert not bad


def test_bare_import_is_light() -> None:
    """`import rimwright` loads none of the libraries, numpy included."""
    run = run_python(f"import rimwright, sys; print([m for m in {HEAVY!r} if m in sys.modules])")
    assert run.stdout.strip() == "[]", run.stdout + run.stderr


def test_records_load_numpy_alone() -> None:
    """The vocabulary, the units and the evidence load numpy at most."""
    names = sorted(units_of_the_tree() & LIGHT_ONLY)
    imports = "; ".join(f"import rimwright.{name}" for name in names)
    heavy = tuple(name for name in HEAVY if name != "numpy")
    run = run_python(f"import sys; {imports}; print([m for m in {heavy!r} if m in sys.modules])")
    assert run.stdout.strip() == "[]", run.stdout + run.stderr


@pytest.mark.skipif("cli" not in units_of_the_tree(), reason="no command yet")
def test_help_loads_no_computing_library() -> None:
    """`rimwright --help` answers without the libraries that measure, draw and print."""
    heavy = tuple(n for n in HEAVY if n not in {"rich", "typer"})
    code = (
        "import sys\n"
        "import rimwright.cli\n"
        "sys.argv = ['rimwright', '--help']\n"
        "try:\n    rimwright.cli.main()\nexcept SystemExit as stop:\n    assert not stop.code\n"
        f"print('LOADED', [m for m in {heavy!r} if m in sys.modules])"
    )
    run = run_python(code)
    assert run.stdout.strip().endswith("LOADED []"), run.stdout[-400:] + run.stderr[-400:]
