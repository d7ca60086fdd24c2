"""The start-up script on systems of every kind, without changing this one."""

import hashlib
import json
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from workstation import bootstrap, system_needs
from workstation.system_needs import Need, SetupError

ROOT = Path(__file__).resolve().parent.parent


def test_the_second_command_of_the_readme_is_what_ci_runs() -> None:
    readme, ci = (ROOT / "README.md").read_text(encoding="utf-8"), (ROOT / ".ci" / "run").read_text()
    commands = re.findall(r"^\s*(python3 -m workstation\.bootstrap.*?)\s*$", readme, flags=re.MULTILINE)
    assert commands[:2] == ["python3 -m workstation.bootstrap", "python3 -m workstation.bootstrap test"]
    assert ci.rstrip().splitlines()[-1] == commands[1]


@pytest.mark.parametrize("extra", [[], ["dev"]])
def test_the_lock_files_pin_every_dependency_with_its_hash(extra: list[str]) -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["build"]]
    for name in extra:
        wanted += project["optional-dependencies"][name]
    lock = (ROOT / ("requirements-dev.lock" if extra else "requirements.lock")).read_text(encoding="utf-8")
    pinned = {
        re.sub(r"[-_.]+", "-", name).lower()
        for name in re.findall(r"^([A-Za-z0-9._-]+)==", lock, flags=re.MULTILINE)
    }
    for requirement in wanted:
        name = re.match(r"[A-Za-z0-9._-]+", requirement)
        assert name
        assert re.sub(r"[-_.]+", "-", name[0]).lower() in pinned
    blocks = re.split(r"\n(?=[A-Za-z0-9])", lock.strip())
    assert all("--hash=sha256:" in block for block in blocks)


def test_the_two_lock_files_agree() -> None:
    def pins(name: str) -> set[str]:
        text = (ROOT / name).read_text(encoding="utf-8")
        return set(re.findall(r"^([A-Za-z0-9._-]+==\S+)", text, flags=re.MULTILINE))

    assert pins("requirements.lock") <= pins("requirements-dev.lock")


@pytest.mark.parametrize(
    ("platform", "environment", "expected"),
    [
        ("linux", {}, False),
        ("linux", {"DISPLAY": ""}, False),
        ("linux", {"DISPLAY": ":0"}, True),
        ("linux", {"WAYLAND_DISPLAY": "wayland-0"}, True),
        ("win32", {}, True),
        ("darwin", {}, True),
    ],
)
def test_a_missing_display_is_noticed(platform: str, environment: dict[str, str], expected: bool) -> None:
    assert bootstrap.has_display(platform, environment) is expected


def test_without_a_display_the_first_command_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(bootstrap, "set_up", lambda *, tests: None)
    monkeypatch.setattr(bootstrap, "has_display", lambda platform, environment: False)
    assert bootstrap.main([]) == 1
    assert "no display to open a window on" in capsys.readouterr().err


def test_missing_libraries_without_root_are_named_with_the_command_that_installs_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(system_needs, "_user_is_root", lambda: False)
    needs = [Need("libEGL.so.1", "libegl1", lambda: False), Need("Xvfb", "xvfb", lambda: False)]
    with pytest.raises(SetupError) as caught:
        system_needs.provide(needs)
    assert "lacks: libEGL.so.1, Xvfb" in str(caught.value)
    assert "sudo apt-get update && sudo apt-get install -y --no-install-recommends libegl1 xvfb\n" in str(
        caught.value
    )


def test_missing_libraries_elsewhere_than_on_debian_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(SetupError, match=r"lacks: libEGL\.so\.1.*package manager"):
        system_needs.provide([Need("libEGL.so.1", "libegl1", lambda: False)])


def test_with_root_on_debian_they_are_installed_without_a_question(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []

    def run(command: list[str], **options: object) -> subprocess.CompletedProcess[str]:
        calls.append((command, options))
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(system_needs, "_user_is_root", lambda: True)
    monkeypatch.setattr(subprocess, "run", run)
    system_needs.provide([Need("libEGL.so.1", "libegl1", lambda: False)])
    (update, _), (install, options) = calls
    assert update[:2] == ["apt-get", "update"]
    assert install == ["apt-get", "install", "-y", "--no-install-recommends", "libegl1"]
    assert options["env"]["DEBIAN_FRONTEND"] == "noninteractive"  # type: ignore[index]


def test_nothing_missing_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(subprocess, "run", None)
    system_needs.provide([])


def test_only_linux_needs_system_libraries(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "win32")
    assert system_needs.missing_needs(tests=True, venv_package=None) == []


@pytest.mark.parametrize(
    ("version", "fits"), [((3, 10), False), ((3, 11), True), ((3, 13), True), ((3, 14), False)]
)
def test_an_unfit_python_is_replaced_by_a_fit_one_or_named(
    monkeypatch: pytest.MonkeyPatch, version: tuple[int, int], fits: bool
) -> None:
    monkeypatch.setattr(sys, "version_info", (*version, 0, "final", 0))
    monkeypatch.setattr(shutil, "which", lambda name: "/usr/bin/python3.12" if name == "python3.12" else None)
    assert bootstrap.find_python() == (sys.executable if fits else "/usr/bin/python3.12")
    monkeypatch.setattr(shutil, "which", lambda name: None)
    if not fits:
        with pytest.raises(SetupError, match=r"Python 3\.11 to 3\.13 is needed"):
            bootstrap.find_python()


@pytest.fixture
def empty_stamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(bootstrap, "STAMP", tmp_path / "set-up.json")
    return tmp_path / "set-up.json"


def test_locked_libraries_are_installed_once_and_again_when_the_lock_changes(
    empty_stamp: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    commands: list[list[str]] = []
    monkeypatch.setattr(bootstrap, "_status", lambda command: commands.append(command) or 0)
    bootstrap._install_locked("requirements.lock")
    bootstrap._install_locked("requirements.lock")
    assert len(commands) == 1
    assert "--require-hashes" in commands[0]
    stamp = json.loads(empty_stamp.read_text())
    assert stamp["requirements.lock"] == hashlib.sha256((ROOT / "requirements.lock").read_bytes()).hexdigest()
    empty_stamp.write_text(json.dumps({**stamp, "requirements.lock": "another"}))
    bootstrap._install_locked("requirements.lock")
    assert len(commands) == 2


def test_a_failed_installation_is_not_taken_for_done(
    empty_stamp: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bootstrap, "_status", lambda command: 1)
    with pytest.raises(SetupError, match="failed"):
        bootstrap._install_locked("requirements.lock")
    assert not empty_stamp.exists()


def test_a_damaged_stamp_means_that_nothing_is_known_to_be_done(empty_stamp: Path) -> None:
    empty_stamp.write_text('{"requirements.lock": "cut sho')
    assert bootstrap._stamps() == {}


def test_the_first_failing_check_ends_the_tests_with_its_status(monkeypatch: pytest.MonkeyPatch) -> None:
    commands: list[str] = []

    def status(command: list[str], **environment: str) -> int:
        commands.append(Path(command[0]).name)
        return 7 if commands[-1] == "mypy" else 0

    monkeypatch.setattr(bootstrap, "_status", status)
    assert bootstrap.run_tests() == 7
    assert commands == ["ruff", "ruff", "mypy"]


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("Xvfb"), reason="no virtual X server here")
def test_a_virtual_display_starts_on_a_free_number_and_stops() -> None:
    with bootstrap.virtual_display() as first, bootstrap.virtual_display() as second:
        assert first != second
        assert re.fullmatch(r":\d+", first)


@pytest.mark.slow
def test_an_installed_wheel_finds_its_criteria_outside_the_checkout(tmp_path: Path) -> None:
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
    wheels, place = tmp_path / "wheels", tmp_path / "installed"
    build = [
        *pip,
        "wheel",
        "-q",
        "--no-deps",
        "--no-build-isolation",
        "--no-index",
        "-w",
        str(wheels),
        str(ROOT),
    ]
    subprocess.run(build, check=True, capture_output=True, cwd=tmp_path)
    (wheel,) = wheels.glob("*.whl")
    shipped = {path.name for path in (ROOT / "resources" / "criteria").glob("*.yaml")}
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    assert {f"workstation/_resources/criteria/{name}" for name in shipped} <= set(names)
    assert not [name for name in names if name.startswith(("tests/", "sample_captures/"))]
    install = [*pip, "install", "-q", "--no-deps", "--no-index", "--target", str(place), str(wheel)]
    subprocess.run(install, check=True, capture_output=True, cwd=tmp_path)
    program = (
        f"import sys; sys.path.insert(0, {str(place)!r}); import workstation; "
        f"assert workstation.__file__.startswith({str(place)!r}), workstation.__file__; "
        "from workstation.criteria import available; print(*(ref.id for ref in available()))"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-c", program], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert {f"{id_}.yaml" for id_ in done.stdout.split()} == shipped
