"""The CSV of a session, read back with Python's csv module."""

import csv
import errno
import io
import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hand_made import graded, picture, unreadable
from hypothesis import given, settings
from hypothesis import strategies as st

from workstation.ledger import Ledger, LedgerError
from workstation.reports import csv_export, export_csv
from workstation.reports.csv_export import HEADER, neutral

# OWASP Foundation, "CSV Injection": the signs a cell must not begin with (= + - @, tab, carriage return,
# line feed and the full-width forms), its example payloads, and its warning of separators and quotes.
DANGEROUS = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1+1)",
    '=1+2";=1+2',
    "=1+2'\" ;,=1+2",
    '=HYPERLINK("http://example.invalid","click")',
    "=cmd|' /C calc'!A0",
    "  =1+1",
    "\u00a0=1+1",
    "\u200b=1+1",
    "\ufeff=1+1",
    "\u202e=1+1",
    "＝1+1",
    "＋1+1",
    "－1+1",
    "＠SUM(1)",
    "−1+1",
    '"=1+1"',
    "a;=1+1",
    'a";=1+1;"',
    "a,  @SUM(1)",
    "a | -1",
]
STARTS = tuple("=+-@＝＋－＠−\t\r\n")


@pytest.fixture
def ledger(tmp_path: Path):
    with Ledger.open(tmp_path / "bench") as opened:
        yield opened


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def one_session(ledger: Ledger, *labels: str) -> int:
    session = ledger.start_session("Tuesday", "Operator One", "bench scope", "sm-example", "meter reads dark")
    for label in labels:
        port = ledger.add_port(session.id, label)
        ledger.keep_look(port.id, picture(1, (60, 80)), *graded(), "simulated microscope", 0.25)
    return session.id


def test_each_look_is_a_row_with_units_in_the_header(ledger: Ledger, tmp_path: Path):
    session_id = one_session(ledger, "A1", "A2")
    port = ledger.find_port(session_id, "A1")
    assert port is not None
    ledger.keep_look(port.id, picture(2, (60, 80)), *unreadable(), "simulated microscope", 0.5)
    path = tmp_path / "session.csv"
    assert export_csv(ledger, session_id, path) == 3
    rows = read(path)
    assert [(row["port"], row["look"], row["verdict"]) for row in rows] == [
        ("A1", "1", "fail"),
        ("A1", "2", "unreadable"),
        ("A2", "1", "fail"),
    ]
    first, second = rows[:2]
    assert first["session"] == "Tuesday"
    assert first["operator"] == "Operator One"
    assert first["scope"] == "bench scope"
    assert first["criteria"] == "sm-example"
    assert first["criteria_edition"] == "No standard: an example"
    assert first["criteria_provenance"] == "Invented for tests"
    assert first["criteria_unverified"] == "yes"
    assert first["reasons"] == "Zone B: 1 defect larger than 5 µm (feature 2); none is allowed."
    assert first["next_step"] == "Clean the face dry and look again."
    assert (first["zone_b_outer_diameter_um"], first["zone_b_defects"]) == ("115.0", "1")
    assert first["zone_b_broken_rules"] == "no defect larger than 5 µm"
    assert first["zone_c_defects"] == ""
    assert (first["largest_defect_um"], first["widest_scratch_um"]) == ("6.25", "1.2")
    assert (first["um_per_px"], first["blur_um"]) == ("0.4", "0.61")
    assert (first["occlusion_weighted_fraction"], first["occlusion_loss_db"]) == ("0.0125", "0.0546")
    assert first["picture_sha256"] == ledger.looks(session_id)[0].picture_sha256
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", first["taken_utc"])
    assert (second["um_per_px"], second["no_fit_reason"], second["checks_not_met"]) == ("", "black", "light")


def test_the_file_is_as_rfc_4180_says_with_a_byte_order_mark(ledger: Ledger, tmp_path: Path):
    """RFC 4180, section 2: CRLF, the same number of fields in each line, quotes doubled."""
    path = tmp_path / "session.csv"
    export_csv(ledger, one_session(ledger, 'quote " and, comma', "עברית 🔌"), path)
    data = path.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf")
    text = data.decode("utf-8-sig")
    assert text.count("\r\n") == 3
    assert "\n" not in text.replace("\r\n", "")
    assert 'quote "" and, comma' in text
    assert {len(row) for row in csv.reader(io.StringIO(text), strict=True)} == {len(HEADER)}
    assert [row["port"] for row in read(path)] == ['quote " and, comma', "עברית 🔌"]


def test_a_session_without_looks_is_a_header(ledger: Ledger, tmp_path: Path):
    path = tmp_path / "session.csv"
    assert export_csv(ledger, one_session(ledger), path) == 0
    assert path.read_text(encoding="utf-8-sig").strip().replace('"', "") == ",".join(HEADER)


@pytest.mark.parametrize("text", DANGEROUS)
def test_a_cell_that_looks_like_a_formula_is_made_harmless(ledger: Ledger, tmp_path: Path, text: str):
    path = tmp_path / "session.csv"
    export_csv(ledger, one_session(ledger, text), path)
    (row,) = read(path)
    assert "'" in row["port"]
    assert row["port"].replace("'", "") == text.replace("'", "")
    # Whatever separator the reader takes, no cell begins with a sign.
    written = path.read_text(encoding="utf-8-sig")
    for separator in ",;\t":
        for cells in csv.reader(io.StringIO(written), delimiter=separator):
            for cell in cells:
                assert not cell.lstrip(' \u00a0\u200b\ufeff\u202e"').startswith(STARTS)


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet=st.sampled_from("=+-@＝－\t\r\n ;,|\"'ab1\u200b"), max_size=12))
def test_no_text_begins_with_a_sign_after_any_separator(text: str):
    safe = neutral(text)
    assert not safe.startswith(STARTS)
    for cell in re.split(r"[,;|\t\r\n]", safe):
        assert not cell.lstrip(' \u200b"').startswith(tuple("=+-@＝－"))
    assert safe.replace("'", "") == text.replace("'", "")


@pytest.mark.parametrize("text", ["", "PP3-01-A", "a - b", "5 µm", "a=b", "1e-3", "operator@bench", "A, B"])
def test_a_harmless_text_stays_as_it_is(text: str):
    assert neutral(text) == text


def test_two_labels_never_become_one(ledger: Ledger, tmp_path: Path):
    path = tmp_path / "session.csv"
    export_csv(ledger, one_session(ledger, "=A", "'=A", "''=A"), path)
    assert len({row["port"] for row in read(path)}) == 3


def test_negative_numbers_stay_numbers():
    assert csv_export._safe(-3.5) == -3.5
    assert csv_export._safe("-3.5") == "'-3.5"


def test_a_file_that_cannot_be_written_is_said_so_and_the_old_one_kept(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    session_id = one_session(ledger, "A1")
    with pytest.raises(LedgerError, match="can't be written"):
        export_csv(ledger, session_id, tmp_path / "nowhere" / "session.csv")
    folder = tmp_path / "out"
    folder.mkdir()
    path = folder / "session.csv"
    path.write_text("the old one")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LedgerError, match="No space left"):
        export_csv(ledger, session_id, path)
    assert path.read_text() == "the old one"
    assert [one.name for one in folder.iterdir()] == ["session.csv"]


def test_a_session_that_is_not_there_writes_no_file(ledger: Ledger, tmp_path: Path):
    with pytest.raises(LedgerError, match="no session"):
        export_csv(ledger, 99, tmp_path / "session.csv")
    assert not (tmp_path / "session.csv").exists()


def test_a_damaged_look_leaves_no_half_file(ledger: Ledger, tmp_path: Path):
    session_id = one_session(ledger, "A1", "A2")
    with closing(sqlite3.connect(tmp_path / "bench" / "ledger.sqlite3")) as connection:
        connection.execute("DROP TRIGGER looks_no_update")
        connection.execute("UPDATE looks SET reading = 'nonsense' WHERE id = 2")
        connection.commit()
    with pytest.raises(LedgerError, match="look 2 can't be read"):
        export_csv(ledger, session_id, tmp_path / "session.csv")
    assert [one.name for one in tmp_path.iterdir()] == ["bench"]
