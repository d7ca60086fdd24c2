"""The house keeps its order: imports go one way, Qt stays in the window, rooms stay small."""

import ast
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "workstation"
MODULES = sorted(PACKAGE.rglob("*.py"))
QT = {"PySide6", "shiboken6", "pyqtgraph", "superqt"}
LONGEST = 500  # lines; seldom over 400
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "requirements.lock",
    "requirements-dev.lock",
    ".ci",
    ".gitignore",
    ".gitattributes",
    "benchmarks",
    "docs",
    "resources",
    "sample_captures",
    "tests",
    "workstation",
}


def imports(path: Path) -> Iterator[str]:
    """Yield the full names of the modules that a file imports, wherever in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def test_imports_keep_the_contracts() -> None:
    command = Path(sysconfig.get_path("scripts")) / "lint-imports"
    done = subprocess.run([command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_qt_is_imported_in_the_window_alone(path: Path) -> None:
    if path.relative_to(PACKAGE).parts[0] == "window":
        return
    assert not QT & {name.split(".")[0] for name in imports(path)}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_stays_short_enough_to_be_one_idea(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST, f"{lines} lines: split it by idea"


def test_the_start_up_script_needs_the_standard_library_alone() -> None:
    for name in ("__init__", "bootstrap", "system_needs"):
        for module in imports(PACKAGE / f"{name}.py"):
            top = module.split(".")[0]
            assert top in sys.stdlib_module_names or module == "workstation.system_needs", (name, module)


def test_nothing_unexpected_lies_at_the_top() -> None:
    tracked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if tracked.returncode:
        pytest.skip("not a git checkout")
    found = {name.split("/")[0] for name in tracked.stdout.split("\0") if name}
    assert found <= TOP_LEVEL
