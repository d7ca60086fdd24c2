"""The command as a whole: the window without a subcommand, Qt only for it, versions, criteria."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from endface_command import COMMAND, ROOT, SAMPLES, TIME_LIMIT_S, endface, environment

from workstation import __version__, window
from workstation.cli import main
from workstation.criteria import available

CRITERIA = ROOT / "resources" / "criteria"


def imported_by(*words: str) -> set[str]:
    """Run the command in a fresh process and return the top-level packages that were loaded for it."""
    program = (
        "import sys; from workstation.cli import main; status = main(sys.argv[1:]); "
        "print(*{name.split('.')[0] for name in sys.modules}, file=sys.stderr); sys.exit(status)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, *words],
        capture_output=True,
        text=True,
        timeout=TIME_LIMIT_S,
        check=True,
        env=environment(),
    )
    return set(done.stderr.split())


def test_grading_loads_no_qt() -> None:
    loaded = imported_by("grade", str(SAMPLES / "black.png"))
    assert "cv2" in loaded
    assert not loaded & {"PySide6", "shiboken6", "pyqtgraph", "superqt"}


def test_the_version_and_help_load_nothing_heavy() -> None:
    for word in ("--version", "--help"):
        assert not imported_by(word) & {"cv2", "numpy", "scipy", "PIL", "PySide6", "tqdm", "pydantic"}


def test_the_version_is_the_project_s() -> None:
    done = endface("--version")
    assert (done.returncode, done.stdout) == (0, f"endface {__version__}\n")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == __version__
    assert project["scripts"]["endface"] == "workstation.cli:main"


def test_without_a_subcommand_the_window_opens(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[window.Options | None] = []
    monkeypatch.setattr(window, "run", lambda options: opened.append(options) or 3)
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    assert main([]) == 3
    assert main(["--source", "simulator", "--ledger", "kept", "--session", "Monday"]) == 3
    assert opened == [
        window.Options(),
        window.Options(source="simulator", ledger=Path("kept"), session="Monday"),
    ]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells by the environment")
def test_without_a_display_the_window_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    assert main([]) == 1
    assert "no display" in capsys.readouterr().err


def test_the_criteria_that_ship_are_listed_with_their_provenance(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["criteria"]) == 0
    shown = capsys.readouterr().out
    words = " ".join(shown.split())
    for ref in available():
        assert ref.id in shown
        for text in (ref.title, ref.source, ref.provenance):
            assert " ".join(text.split()) in words
    marked = {line.split()[0] for line in shown.splitlines() if "unverified]" in line}
    assert marked == {ref.id for ref in available() if ref.unverified} == {"iec-61300-3-35-2015-sm-pc-26"}
    assert "iec-61300-3-35-2015-sm-pc-45  [default]" in shown
    assert "doesn't replace measurements of loss" in words


def test_an_old_code_page_is_no_obstacle() -> None:
    done = subprocess.run(
        [*COMMAND, "criteria"],
        capture_output=True,
        timeout=TIME_LIMIT_S,
        check=False,
        env={**environment(), "PYTHONIOENCODING": "ascii"},
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.isascii()


def test_a_right_criteria_file_is_said_to_be_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (CRITERIA / "iec-61300-3-35-2015-sm-pc-45.yaml").read_text(encoding="utf-8")
    (tmp_path / "own.yaml").write_text(text, encoding="utf-8")
    assert main(["criteria", "check", str(tmp_path / "own.yaml")]) == 0
    assert "own.yaml is right" in capsys.readouterr().out


def test_a_wrong_criteria_file_is_named_with_line_and_field(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (CRITERIA / "iec-61300-3-35-2015-sm-pc-45.yaml").read_text(encoding="utf-8")
    lines = text.splitlines()
    number = next(i for i, line in enumerate(lines) if line.startswith("mode_field_diameter_um"))
    lines[number] = "mode_field_diameter_um: wide"
    own = tmp_path / "own.yaml"
    own.write_text("\n".join(lines), encoding="utf-8")
    assert main(["criteria", "check", str(own)]) == 1
    said = capsys.readouterr().err
    assert f"own.yaml, line {number + 1}" in said
    assert "mode_field_diameter_um" in said
    assert main(["grade", str(SAMPLES / "black.png"), "--criteria", str(own)]) == 2
    assert f"line {number + 1}" in capsys.readouterr().err


def test_a_file_is_never_taken_for_criteria_that_ship(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("iec-61300-3-35-2015-sm-pc-45").write_text("nonsense: true\n")
    assert main(["criteria", "check", "iec-61300-3-35-2015-sm-pc-45"]) == 1
