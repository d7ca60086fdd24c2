"""What goes wrong is said in words, and nothing that was acknowledged is lost."""

import errno
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from hand_made import graded, picture
from sqlalchemy import event

from workstation.ledger import Ledger, LedgerError, database, history, shares
from workstation.ledger.ledger import DATABASE


def one_look(ledger: Ledger) -> tuple[int, int]:
    session = ledger.start_session("s", "Operator One", "", "")
    port = ledger.add_port(session.id, "1")
    ledger.keep_look(port.id, picture(), *graded(), "", 0.1)
    return session.id, port.id


@contextmanager
def without_rights() -> Iterator[None]:
    """Act as a user who may not write everywhere; only root needs to change for that."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users can reach, which pytest's own can't be."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


def test_a_second_window_in_this_program_is_told_so(tmp_path: Path):
    with Ledger.open(tmp_path) as first:
        with pytest.raises(LedgerError, match="already open for writing in another window"):
            Ledger.open(tmp_path)
        first.start_session("still works", "", "", "")
    with Ledger.open(tmp_path) as again:
        assert len(again.sessions()) == 1


def test_a_second_program_is_told_so_with_the_first_ones_number(tmp_path: Path):
    child = """
import sys
from workstation.ledger import Ledger, LedgerError
try:
    Ledger.open(sys.argv[1])
except LedgerError as error:
    print(error)
"""
    with Ledger.open(tmp_path):
        asked = [sys.executable, "-c", child, str(tmp_path)]
        said = subprocess.run(asked, check=True, timeout=60, capture_output=True, text=True).stdout
    assert "already open for writing" in said
    assert f"process {os.getpid()}" in said
    assert str(tmp_path) in said


def test_a_closed_ledger_says_so_and_can_be_closed_again(tmp_path: Path):
    ledger = Ledger.open(tmp_path)
    ledger.close()
    ledger.close()
    with pytest.raises(LedgerError, match="was closed"):
        ledger.sessions()


def test_another_programs_write_is_waited_for_and_then_said_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(database, "BUSY_MS", 50)
    with Ledger.open(tmp_path) as ledger:
        session_id, _ = one_look(ledger)
        with closing(sqlite3.connect(tmp_path / DATABASE, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(LedgerError, match="busy: another window or command is writing"):
                ledger.add_port(session_id, "2")
            assert len(ledger.looks(session_id)) == 1
            other.execute("ROLLBACK")
        assert ledger.add_port(session_id, "2").position == 1
        assert ledger.verify().whole


@pytest.mark.parametrize("kind", [KeyboardInterrupt, ZeroDivisionError, SystemExit])
def test_a_transaction_is_undone_whatever_was_raised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: type[BaseException]
):
    with Ledger.open(tmp_path) as ledger:
        session_id, port_id = one_look(ledger)

        def fail(*_: object, **__: object) -> None:
            raise kind

        with monkeypatch.context() as patch:
            patch.setattr(history, "append", fail)
            with pytest.raises(kind):
                ledger.add_port(session_id, "2")
            with pytest.raises(kind):
                ledger.keep_look(port_id, picture(1), *graded(), "", 0.1)
        assert len(ledger.ports(session_id)) == 1
        assert len(ledger.looks(session_id)) == 1
        assert ledger.keep_look(port_id, picture(1), *graded(), "", 0.1).number == 2
        assert ledger.verify().whole


def test_a_full_disk_while_a_picture_is_saved_keeps_no_half_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    with Ledger.open(tmp_path) as ledger:
        session_id, port_id = one_look(ledger)

        def full(_: int) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", full)
            with pytest.raises(LedgerError, match="disk is full") as caught:
                ledger.keep_look(port_id, picture(1), *graded(), "", 0.1)
        assert "Free some space" in caught.value.todo
        assert len(ledger.looks(session_id)) == 1
        assert list((tmp_path / "pictures" / "aside").iterdir()) == []
        assert len(list(tmp_path.glob("pictures/*/*.png"))) == 1
        assert ledger.verify().whole


def test_a_full_disk_while_a_row_is_saved_is_said_in_words(tmp_path: Path):
    """SQLite's own SQLITE_FULL, brought about by its limit on the size of the file."""
    with Ledger.open(tmp_path) as ledger:
        session_id, port_id = one_look(ledger)

        def limit(connection: sqlite3.Connection, _: object) -> None:
            pages = connection.execute("PRAGMA page_count").fetchone()[0]
            connection.execute(f"PRAGMA max_page_count = {pages}")

        engine = ledger._database.engine
        event.listen(engine, "connect", limit)
        engine.dispose()
        kept = 1

        def fill() -> None:
            nonlocal kept
            for _ in range(100):
                ledger.keep_look(port_id, picture(2), *graded(), "", 0.1)
                kept += 1

        with pytest.raises(LedgerError, match="disk is full"):
            fill()
        event.remove(engine, "connect", limit)
        engine.dispose()
        assert len(ledger.looks(session_id)) == kept
        assert ledger.verify().whole


@pytest.mark.skipif(os.name != "posix", reason="rights by mode bits")
def test_a_read_only_folder_is_said_in_words(open_folder: Path):
    open_folder.chmod(0o555)
    with without_rights(), pytest.raises(LedgerError, match="read-only") as caught:
        Ledger.open(open_folder / "bench")
    assert str(open_folder) in caught.value.where
    with without_rights(), pytest.raises(LedgerError, match="read-only"):
        Ledger.open(open_folder)
    assert list(open_folder.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="rights by mode bits")
def test_a_ledger_in_a_read_only_folder_can_be_looked_at(open_folder: Path):
    with Ledger.open(open_folder) as ledger:
        session_id, _ = one_look(ledger)
    for path in (open_folder, *open_folder.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    with without_rights():
        with pytest.raises(LedgerError, match="read-only"):
            Ledger.open(open_folder)
        with Ledger.open(open_folder, read_only=True) as ledger:
            (look,) = ledger.looks(session_id)
            assert (ledger.picture(look) == picture()).all()
            assert ledger.verify().whole
    for path in (open_folder, *open_folder.rglob("*")):
        path.chmod(0o755)


def test_a_file_where_the_folder_should_be_is_said_in_words(tmp_path: Path):
    (tmp_path / "bench").write_text("a shopping list")
    for folder in (tmp_path / "bench", tmp_path / "bench" / "below"):
        with pytest.raises(LedgerError, match="file stands where a folder should be"):
            Ledger.open(folder)
    assert (tmp_path / "bench").read_text() == "a shopping list"


@pytest.mark.parametrize("read_only", [False, True])
def test_a_file_that_is_no_database_is_refused_untouched(tmp_path: Path, read_only: bool):
    (tmp_path / DATABASE).write_bytes(b"not a database, but long enough to look at" * 100)
    with pytest.raises(LedgerError, match="no database"):
        Ledger.open(tmp_path, read_only=read_only)
    assert (tmp_path / DATABASE).read_bytes().startswith(b"not a database")
    assert [path.name for path in tmp_path.iterdir()] == [DATABASE]


def test_another_programs_database_is_refused_untouched(tmp_path: Path):
    with closing(sqlite3.connect(tmp_path / DATABASE)) as other:
        other.execute("CREATE TABLE recipes (name TEXT)")
    before = (tmp_path / DATABASE).read_bytes()
    with pytest.raises(LedgerError, match="not a ledger of this program"):
        Ledger.open(tmp_path)
    assert (tmp_path / DATABASE).read_bytes() == before


def test_looking_at_a_ledger_that_is_not_there_makes_none(tmp_path: Path):
    with pytest.raises(LedgerError, match="no ledger in this folder"):
        Ledger.open(tmp_path / "typo", read_only=True)
    assert list(tmp_path.iterdir()) == []


def test_an_altered_or_missing_picture_is_said_so(tmp_path: Path):
    with Ledger.open(tmp_path) as ledger:
        session_id, _ = one_look(ledger)
        (look,) = ledger.looks(session_id)
        path = ledger.picture_path(look)
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
        with pytest.raises(LedgerError, match="altered after it was saved"):
            ledger.picture(look)
        path.unlink()
        with pytest.raises(LedgerError, match="isn't there"):
            ledger.picture(look)


def test_a_disk_without_a_write_ahead_log_is_worked_with_and_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("workstation.ledger.ledger.network_share", lambda _: "nfs4")
    with Ledger.open(tmp_path) as ledger:
        assert "network share (nfs4)" in ledger.notices[0]
        with closing(sqlite3.connect(tmp_path / DATABASE)) as other:
            assert other.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        one_look(ledger)
        assert ledger.verify().whole
    monkeypatch.undo()
    with Ledger.open(tmp_path) as ledger:
        assert ledger.notices == ()
        assert len(ledger.sessions()) == 1
        with closing(sqlite3.connect(tmp_path / DATABASE)) as other:
            assert other.execute("PRAGMA journal_mode").fetchone() == ("wal",)


@pytest.mark.skipif(sys.platform == "win32", reason="Linux's list of mounts")
def test_a_network_share_is_told_from_a_disk_by_the_list_of_mounts(tmp_path: Path):
    """Format of the list: fstab(5), spaces as \\040."""
    share = tmp_path / "shared files"
    inside = share / "local"
    inside.mkdir(parents=True)
    mounts = tmp_path / "mounts"
    escaped = str(share.resolve()).replace(" ", "\\040")
    mounts.write_text(
        f"rootfs / ext4 rw 0 0\nserver:/x {escaped} nfs4 rw 0 0\n/dev/sdb {escaped}/local ext4 rw 0 0\n"
    )
    assert shares.network_share(share, mounts) == "nfs4"
    assert shares.network_share(inside, mounts) == ""
    assert shares.network_share(tmp_path, mounts) == ""
    assert shares.network_share(tmp_path, tmp_path / "none") == ""
