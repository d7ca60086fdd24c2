"""The chained history: proved here by recomputing it with nothing but sqlite3, json and hashlib."""

import hashlib
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hand_made import graded, picture

from workstation.ledger import Ledger, LedgerError
from workstation.ledger.history import sha256_text
from workstation.ledger.ledger import DATABASE

TRIGGERS = ("history_no_update", "history_no_delete", "looks_no_update", "looks_no_delete")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A closed ledger: entry 1 a session, 2 a port, 3 an event, 4 and 5 looks, 6 a port, 7 a look."""
    with Ledger.open(tmp_path) as ledger:
        session = ledger.start_session("Tuesday", "Operator One", "bench scope", "sm-example")
        port = ledger.add_port(session.id, "first port")
        ledger.log_event(session.id, "caution acknowledged", "Operator One", "source off")
        ledger.keep_look(port.id, picture(1, (60, 80)), *graded(), "", 0.1)
        ledger.keep_look(port.id, picture(2, (60, 80)), *graded(), "", 0.1)
        other = ledger.add_port(session.id, "other port")
        ledger.keep_look(other.id, picture(3, (60, 80)), *graded(), "", 0.1)
    return tmp_path


def alter(folder: Path, *statements: str) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        for trigger in TRIGGERS:
            connection.execute(f"DROP TRIGGER {trigger}")
        for statement in statements:
            connection.execute(statement)
        connection.commit()


def test_the_hash_is_sha_256():
    """NIST, FIPS 180-4 example values: the message "abc"."""
    assert sha256_text("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_chain_can_be_checked_without_this_program(folder: Path):
    names = ("sequence", "at", "kind", "session_id", "subject_id", "body", "previous")
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        rows = connection.execute(
            f"SELECT {', '.join(names)}, hash FROM history ORDER BY sequence"
        ).fetchall()
    previous = "0" * 64
    for number, row in enumerate(rows, start=1):
        entry = dict(zip(names, row[:-1], strict=True))
        assert (entry["sequence"], entry["previous"]) == (number, previous)
        text = json.dumps(entry, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        previous = hashlib.sha256(text.encode()).hexdigest()
        assert row[-1] == previous
    assert [row[2] for row in rows] == ["session", "port", "event", "look", "look", "port", "look"]
    with Ledger.open(folder, read_only=True) as ledger:
        audit = ledger.verify()
    assert (audit.whole, audit.entries, audit.pictures, audit.newest_hash) == (True, 7, 3, previous)
    assert (audit.entry, audit.fault) == (None, "")


def test_progress_is_told(folder: Path):
    told: list[tuple[int, int]] = []
    with Ledger.open(folder) as ledger:
        ledger.verify(lambda done, total: told.append((done, total)))
    assert told[-1] == (7, 7)


@pytest.mark.parametrize("table", ["history", "looks"])
@pytest.mark.parametrize("change", ["DELETE FROM {}", "UPDATE {} SET session_id = 1"])
def test_the_database_itself_refuses_to_change_what_only_grows(folder: Path, table: str, change: str):
    with (
        closing(sqlite3.connect(folder / DATABASE)) as connection,
        pytest.raises(sqlite3.IntegrityError, match="append-only"),
    ):
        connection.execute(change.format(table))


@pytest.mark.parametrize(
    ("statement", "entry", "words"),
    [
        ("UPDATE sessions SET operator = 'Operator Two'", 1, "operator"),
        ("UPDATE sessions SET started = 'yesterday'", 1, "can't be read"),
        ("UPDATE ports SET label = 'other' WHERE id = 1", 2, "label"),
        ("UPDATE history SET body = replace(body, 'off', 'on') WHERE sequence = 3", 3, "itself was altered"),
        ("UPDATE history SET at = '2020-01-01T00:00:00.000000Z' WHERE sequence = 3", 3, "itself was altered"),
        ("DELETE FROM history WHERE sequence = 3", 3, "entry 3 is missing"),
        ("UPDATE looks SET outcome = 'pass' WHERE id = 2", 5, "outcome"),
        ("UPDATE looks SET verdict = replace(verdict, 'fail', 'pass') WHERE id = 2", 5, "verdict"),
        ("UPDATE looks SET reading = replace(reading, '6.25', '1.25') WHERE id = 1", 4, "reading"),
        ("UPDATE looks SET seconds = 0.2 WHERE id = 1", 4, "seconds"),
        ("UPDATE looks SET largest_defect_um = 'big' WHERE id = 1", 4, "largest_defect_um"),
        (
            "UPDATE looks SET picture_sha256 = (SELECT picture_sha256 FROM looks WHERE id = 1) WHERE id = 3",
            7,
            "pict",
        ),
        ("DELETE FROM looks WHERE id = 3", 7, "missing"),
        ("DELETE FROM history WHERE sequence = 7", None, "look 3 is in no entry"),
    ],
)
def test_the_first_entry_that_does_not_hold_is_named(
    folder: Path, statement: str, entry: int | None, words: str
):
    alter(folder, statement)
    with Ledger.open(folder, read_only=True) as ledger:
        audit = ledger.verify()
    assert not audit.whole
    assert audit.entry == entry
    assert words in audit.fault


def test_an_entry_that_was_rehashed_breaks_the_one_after_it(folder: Path):
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        row = connection.execute("SELECT * FROM history WHERE sequence = 3").fetchone()
        names = [column[1] for column in connection.execute("PRAGMA table_info(history)")]
    entry = dict(zip(names, row, strict=True))
    del entry["hash"]
    entry["body"] = entry["body"].replace("source off", "source on")
    text = json.dumps(entry, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    new_hash = hashlib.sha256(text.encode()).hexdigest()
    alter(folder, f"UPDATE history SET body = '{entry['body']}', hash = '{new_hash}' WHERE sequence = 3")
    with Ledger.open(folder, read_only=True) as ledger:
        audit = ledger.verify()
    assert audit.entry == 4
    assert "chained" in audit.fault


@pytest.mark.parametrize("look_id", [1, 2, 3])
def test_one_altered_byte_of_a_picture_names_its_look(folder: Path, look_id: int):
    with Ledger.open(folder) as ledger:
        path = ledger.picture_path(ledger.look(look_id))
        data = bytearray(path.read_bytes())
        data[-7] ^= 0x40
        path.write_bytes(data)
        audit = ledger.verify()
        assert (audit.entry, audit.whole) == ({1: 4, 2: 5, 3: 7}[look_id], False)
        assert f"look {look_id}" in audit.fault
        assert str(path) in audit.fault
        path.unlink()
        assert "missing" in ledger.verify().fault


@pytest.mark.parametrize(
    "text", [b"Operator One", b"first port", b"source off", b"loose_dust", b"sm-example"]
)
def test_one_altered_byte_of_the_database_file_shows(folder: Path, text: bytes):
    path = folder / DATABASE
    data = bytearray(path.read_bytes())
    places = [place for place in range(len(data)) if data.startswith(text, place)]
    assert places
    for place in places:
        altered = bytearray(data)
        altered[place] ^= 0x02
        path.write_bytes(altered)
        with Ledger.open(folder, read_only=True) as ledger:
            audit = ledger.verify()
        assert not audit.whole, place
        assert audit.fault


def page_of(folder: Path, table: str) -> tuple[int, int]:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        page = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0]
        return page, connection.execute("PRAGMA page_size").fetchone()[0]


@pytest.mark.parametrize("table", ["history", "looks", "ix_looks_taken"])
def test_a_damaged_table_is_said_to_be_so(folder: Path, table: str):
    path = folder / DATABASE
    page, size = page_of(folder, table)
    data = bytearray(path.read_bytes())
    data[(page - 1) * size : (page - 1) * size + 8] = b"\xff" * 8
    path.write_bytes(data)
    with Ledger.open(folder, read_only=True) as ledger:
        audit = ledger.verify()
    assert not audit.whole
    assert "damaged" in audit.fault


def test_a_database_whose_list_of_tables_is_damaged_is_not_opened(folder: Path):
    path = folder / DATABASE
    data = bytearray(path.read_bytes())
    data[100:108] = b"\xff" * 8  # header of the first page: SQLite file format, 1.6
    path.write_bytes(data)
    with pytest.raises(LedgerError, match="damaged"):
        Ledger.open(folder)
