"""Work out the hashed locks from pyproject.toml; run by `make lock`.

Every lock is compiled against one resolution of everything, so that a package has the same
version in all of them, and holds names, versions and hashes only: no address, no local path.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
REPO = FOLDER.parent
LOWEST_PYTHON = "3.11"

# Lock to the extras of pyproject.toml it holds, and the extra files it is compiled from.
LOCKS = {
    "run.txt": ((), ()),
    "dev.txt": (("dev", "bench"), ()),
    "docs.txt": (("docs",), ()),
    "build.txt": (None, ("build.in",)),
    "lock.txt": (None, ("lock.in",)),
    "bones.txt": (None, ("bones.in",)),
}
# The real bones are taken as data alone: what their packages ask for is neither needed nor wanted.
WITHOUT_DEPENDENCIES = {"bones.txt"}


def compile_lock(target: Path, *arguments: str) -> None:
    """Run the resolver with its own defaults and nothing of this machine's set-up."""
    environment = {
        key: value for key, value in os.environ.items() if not key.startswith(("PIP_", "UV_"))
    }
    command = [
        *(sys.executable, "-m", "uv", "pip", "compile", "--quiet", "--no-config"),
        *("--universal", "--python-version", LOWEST_PYTHON, "--generate-hashes"),
        *("--no-emit-index-url", "--no-emit-find-links", "--no-header", "--no-annotate"),
        *("--output-file", str(target), *arguments),
    ]
    subprocess.run(command, check=True, cwd=REPO, env=environment)


def main() -> None:
    """Compile one resolution of everything, then each lock against it."""
    with tempfile.TemporaryDirectory() as scratch:
        everything = Path(scratch) / "everything.txt"
        sources = [f"requirements/{name}" for name in ("build.in", "lock.in")]
        compile_lock(everything, "pyproject.toml", *sources, "--all-extras")
        for name, (extras, files) in LOCKS.items():
            arguments = [f"requirements/{file}" for file in files]
            if extras is not None:
                arguments += ["pyproject.toml", *(f"--extra={extra}" for extra in extras)]
            if name in WITHOUT_DEPENDENCIES:
                arguments.append("--no-deps")
            else:
                arguments.append(f"--constraints={everything}")
            lock = FOLDER / name
            lock.unlink(missing_ok=True)
            compile_lock(lock, *arguments)
            pins = sum("==" in line for line in lock.read_text().splitlines())
            print(f"requirements/{name}: {pins} packages")


if __name__ == "__main__":
    main()
