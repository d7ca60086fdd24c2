"""``endface grade`` as people and scripts run it."""

import contextlib
import json
import os
import re
import shutil
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from endface_command import (
    COMMAND,
    SAMPLES,
    TIME_LIMIT_S,
    endface,
    environment,
    records,
    start,
    without_seconds,
)
from odd_files import odd_files, write_good

posix = pytest.mark.skipif(os.name != "posix", reason="signals and process groups as on POSIX")


@pytest.fixture(scope="module")
def mixed_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("mixed")
    for name, (contents, _) in odd_files().items():
        (folder / name).write_bytes(contents)
    write_good(folder / "a_good.png")
    shutil.copy(SAMPLES / "clean_bright_cladding.png", folder / "n_good.png")
    write_good(folder / "z_good.bmp", level=255)
    (folder / "notes.txt").write_text("not a picture, and not named like one")
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("jobs", [1, 2])
def test_odd_files_get_an_error_each_and_the_rest_is_graded(mixed_folder: Path, jobs: int) -> None:
    done = endface("grade", mixed_folder, "--jobs", str(jobs))
    assert done.returncode == 1
    odd = odd_files()
    found = {Path(one["image"]).name: one for one in records(done.stdout)}
    assert set(found) == {*odd, "a_good.png", "n_good.png", "z_good.bmp"}
    for name, (_, word) in odd.items():
        assert found[name]["verdict"] is None
        assert name in found[name]["error"]
        assert word in found[name]["error"]
    assert found["n_good.png"]["verdict"] == "pass"
    assert found["a_good.png"]["verdict"] == found["z_good.bmp"]["verdict"] == "unreadable"
    assert (
        done.stderr
        == f"{len(odd)} of {len(odd) + 3} couldn't be read; each one's record says why under “error”.\n"
    )


@pytest.mark.slow
def test_any_number_of_jobs_gives_the_same_records_in_the_order_given(tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    for number in (10, 9, 2):
        write_good(folder / f"p{number}.png")
    words = [
        SAMPLES / "scratch_across_core.png",
        folder,
        SAMPLES / "black.png",
        tmp_path / "missing.png",
        SAMPLES / "clean_dark_cladding.png",
        SAMPLES / "black.png",
    ]
    one, two = (endface("grade", *words, "--jobs", str(jobs)) for jobs in (1, 2))
    # In a folder by natural order: 2 before 9 before 10.
    expected = [words[0], *(folder / f"p{number}.png" for number in (2, 9, 10)), *words[2:]]
    assert [one["image"] for one in records(one.stdout)] == [str(path) for path in expected]
    assert without_seconds(records(one.stdout)) == without_seconds(records(two.stdout))
    assert one.returncode == two.returncode == 1


def test_the_path_stands_in_the_record_as_it_was_given(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    write_good(tmp_path / "deep" / "µ 図.png")
    given = os.path.join(".", "deep", "..", "deep", "µ 図.png")
    done = endface("grade", given, cwd=tmp_path)
    assert [one["image"] for one in records(done.stdout)] == [given]
    assert done.returncode == 0
    assert done.stderr == ""


@pytest.mark.skipif(sys.platform != "linux", reason="file names of any bytes")
def test_a_name_that_is_no_text_is_graded_all_the_same(tmp_path: Path) -> None:
    write_good(tmp_path / "plain.png").rename(os.fsdecode(os.fsencode(tmp_path) + b"/bad\xff.png"))
    done = endface("grade", tmp_path)
    assert done.returncode == 0
    assert json.loads(done.stdout)["image"].endswith("bad\udcff.png")


def test_folders_without_pictures_and_missing_paths_are_said_so(tmp_path: Path) -> None:
    (tmp_path / "bare").mkdir()
    done = endface("grade", tmp_path / "bare", tmp_path / "missing.png")
    bare, missing = records(done.stdout)
    assert done.returncode == 1
    assert "no pictures" in bare["error"]
    assert str(tmp_path / "bare") == bare["image"]
    assert "no file" in missing["error"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["grade"], "PATH"),
        (["grade", "x.png", "--jobs", "0"], "“0” is no number of jobs; give 1 to 256"),
        (["grade", "x.png", "--jobs", "two"], "“two” is no number of jobs"),
        (["grade", "x.png", "--scale", "-1"], "“-1” is no scale; give micrometres per pixel"),
        (["grade", "x.png", "--scale", "nan"], "“nan” is no scale"),
        (["grade", "x.png", "--criteria", "no-such-set"], "no criteria named “no-such-set”"),
        (["grade", "x.png", "--nonsense"], "--nonsense"),
        (["grade", "x.png", "--out", "."], "is a folder"),
        (["grade", "x.png", "--out", "no-such-folder/out.jsonl"], "can't be written"),
        (["polish"], "polish"),
        (["--source", "simulator", "grade", "x.png"], "--source is for the window"),
        (["criteria", "check"], "FILE"),
        (["criteria", "check", "no-such-file.yaml"], "no file"),
    ],
)
def test_wrong_usage_is_said_in_a_sentence_with_status_two(
    words: list[str], sentence: str, tmp_path: Path
) -> None:
    done = endface(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
def test_criteria_scale_and_whole_contact_zone_reach_the_verdict(tmp_path: Path) -> None:
    picture = SAMPLES / "clean_dark_cladding.png"  # 256 µm wide, 192 µm high: not all of zone D to 250 µm
    default, strict, other, scaled = (
        records(endface("grade", picture, *options).stdout)[0]
        for options in (
            [],
            ["--whole-contact-zone"],
            ["--criteria", "iec-61300-3-35-2015-mm-pc"],
            ["--scale", "0.32"],
        )
    )
    assert (default["verdict"], default["criteria"]["id"]) == ("pass", "iec-61300-3-35-2015-sm-pc-45")
    assert strict["verdict"] == "unreadable"
    assert other["criteria"]["id"] == "iec-61300-3-35-2015-mm-pc"
    assert (scaled["fit"]["um_per_px"], scaled["fit"]["scale_source"]) == (0.32, "given")


def test_the_file_takes_its_name_when_all_is_written(tmp_path: Path) -> None:
    picture, out = write_good(tmp_path / "a.png"), tmp_path / "out.jsonl"
    out.write_text("old")
    out.chmod(0o640)
    done = endface("grade", picture, picture, "--out", out)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert len(records(out.read_text())) == 2
    if os.name == "posix":
        assert stat.S_IMODE(out.stat().st_mode) == 0o640
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.png", "out.jsonl"]


def test_a_picture_is_never_overwritten_by_its_record(tmp_path: Path) -> None:
    picture = write_good(tmp_path / "a.png")
    before = picture.read_bytes()
    done = endface("grade", tmp_path, "--out", picture)
    assert done.returncode == 2
    assert "one of the pictures" in done.stderr
    assert picture.read_bytes() == before


@pytest.mark.slow
@posix
@pytest.mark.parametrize("jobs", [1, 2])
def test_stopping_leaves_the_old_file_and_no_process_behind(tmp_path: Path, jobs: int) -> None:
    out = tmp_path / "out.jsonl"
    out.write_text("old")
    pictures = [SAMPLES / "dust.png"] * 60
    running = start("grade", *pictures, "--jobs", str(jobs), "--progress", "--out", out)
    assert running.stderr is not None
    seen = b""
    while not re.search(rb"\| [1-9]\d?/60", seen) and (more := running.stderr.read1()):
        seen += more
    os.killpg(running.pid, signal.SIGINT)
    # Workers hold the same pipe: its end is theirs too.
    _, errors = running.communicate(timeout=TIME_LIMIT_S)
    assert running.returncode == 130
    assert errors.decode().endswith("Stopped.\n")
    assert b"Traceback" not in seen + errors
    assert out.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out.jsonl"]


@pytest.mark.slow
@posix
def test_workers_end_with_a_parent_that_is_killed() -> None:
    running = start("grade", *[SAMPLES / "dust.png"] * 60, "--jobs", "2")
    assert running.stdout is not None
    assert json.loads(running.stdout.readline())["verdict"] == "fail"
    running.kill()
    running.communicate(timeout=TIME_LIMIT_S)  # returns when the last worker has let go of the pipes


@pytest.mark.slow
@posix
@pytest.mark.parametrize("jobs", [1, 2])
def test_a_reader_that_has_gone_ends_the_run_quietly(jobs: int) -> None:
    running = start("grade", *[SAMPLES / "black.png"] * 30, "--jobs", str(jobs))
    assert running.stdout is not None
    assert running.stderr is not None
    running.stdout.readline()
    running.stdout.close()
    errors = running.stderr.read()
    running.stderr.close()
    assert running.wait(TIME_LIMIT_S) == 1
    assert errors == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_said_so(tmp_path: Path) -> None:
    picture = write_good(tmp_path / "a.png")
    with open("/dev/full", "w") as full:
        to_output = endface("grade", picture, stdout=full)
    to_file = endface("grade", picture, "--out", "/dev/full")
    for done, name in ((to_output, "Standard output"), (to_file, "/dev/full")):
        assert done.returncode == 1
        assert done.stderr.startswith(f"{name} can't be written: No space left on device.")
        assert "Traceback" not in done.stderr


def test_the_progress_bar_is_on_standard_error_and_only_when_asked_or_at_a_terminal(tmp_path: Path) -> None:
    picture = write_good(tmp_path / "a.png")
    asked = endface("grade", picture, picture, "--progress")
    assert "2/2" in asked.stderr
    assert len(records(asked.stdout)) == 2
    assert endface("grade", picture, picture).stderr == ""


@posix
def test_at_a_terminal_the_bar_shows_by_itself(tmp_path: Path) -> None:
    import pty  # not on Windows
    import termios

    picture = write_good(tmp_path / "a.png")
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    done = subprocess.run(
        [*COMMAND, "grade", str(picture)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=theirs,
        env=environment(),
        timeout=TIME_LIMIT_S,
        check=False,
    )
    os.close(theirs)
    shown = b""
    with contextlib.suppress(OSError):  # how Linux says that the other side is closed
        while more := os.read(ours, 65536):
            shown += more
    os.close(ours)
    assert b"1/1" in shown
    assert len(records(done.stdout.decode())) == 1
