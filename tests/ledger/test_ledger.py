"""Sessions, ports and looks through the ledger's one door."""

import subprocess
import sys
import unicodedata
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hand_made import FIT, graded, picture, unreadable
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from workstation.ledger import Ledger, LedgerError, lookup
from workstation.values import Check

UNSAFE_LABELS = [
    "PP3-01-A",
    "RACK2/U07/3",
    "../../etc/passwd",
    "..",
    ".",
    "C:\\Windows\\x",
    # Names that Windows reserves: Microsoft, "Naming Files, Paths, and Namespaces".
    "CON",
    "nul.txt",
    "COM1",
    "LPT9.",
    'a<b>c:d"e|f?g*h',
    "🔌 port 👩🏽‍🔧",
    "מדף 3 יציאה 7",
    "\u202emirrored",
    "trailing dot and space . ",
    " leading",
    "=1+1",
    "'; DROP TABLE looks; --",
    "%s %d {0}",
    "x" * 300,
    "🔌" * 300,
]


@pytest.fixture
def ledger(tmp_path: Path):
    with Ledger.open(tmp_path / "bench") as opened:
        yield opened


def files_below(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def test_a_kept_look_comes_back_as_it_was_given(ledger: Ledger):
    session = ledger.start_session("Tuesday", "Operator One", "bench scope", "sm-example", "meter reads dark")
    port = ledger.add_port(session.id, "PP3-01-A")
    reading, verdict = graded()
    look = ledger.keep_look(port.id, picture(), reading, verdict, "simulated microscope", 0.125)
    assert (look.port, look.number, look.source, look.seconds) == (port, 1, "simulated microscope", 0.125)
    assert look.reading == reading
    assert look.verdict == verdict
    assert ledger.look(look.id) == look
    assert ledger.looks(session.id) == (look,)
    assert ledger.looks_of_port(port.id) == (look,)
    assert ledger.latest_look(port.id) == look
    np.testing.assert_array_equal(ledger.picture(look), picture())


def test_numbers_that_json_does_not_know_come_back_too(ledger: Ledger):
    reading, verdict = unreadable()
    odd = (Check("light", False, float("inf"), float("-inf"), ""),)
    verdict = replace(verdict, checks=odd)
    session = ledger.start_session("s", "", "", "")
    look = ledger.keep_look(ledger.add_port(session.id, "1").id, picture(), reading, verdict, "", 0.0)
    assert ledger.look(look.id).verdict.checks == odd


@pytest.mark.parametrize("shape", [(480, 640), (480, 640, 3), (1, 1), (3, 500, 3)])
def test_pictures_are_lossless_for_another_reader(ledger: Ledger, shape: tuple[int, ...]):
    """Checked with Pillow's PNG decoder, which shares no code with the encoder that wrote the file."""
    session = ledger.start_session("s", "", "", "")
    pixels = picture(3, shape)
    look = ledger.keep_look(ledger.add_port(session.id, "1").id, pixels, *graded(), "", 0.1)
    with Image.open(ledger.picture_path(look)) as image:
        read = np.asarray(image)
    np.testing.assert_array_equal(read if len(shape) == 2 else read[..., ::-1], pixels)


@pytest.mark.parametrize(
    "pixels",
    [
        np.zeros((4, 4), np.uint16),
        np.zeros((4, 4, 4), np.uint8),
        np.zeros((0, 4), np.uint8),
        np.zeros(4, np.uint8),
    ],
)
def test_pixels_of_another_kind_are_refused(ledger: Ledger, pixels: np.ndarray):
    session = ledger.start_session("s", "", "", "")
    port = ledger.add_port(session.id, "1")
    with pytest.raises(ValueError, match="uint8"):
        ledger.keep_look(port.id, pixels, *graded(), "", 0.1)
    assert ledger.looks_of_port(port.id) == ()


@pytest.mark.parametrize("label", UNSAFE_LABELS)
def test_an_unsafe_label_is_kept_exactly_and_reaches_no_file_name(tmp_path: Path, label: str):
    with Ledger.open(tmp_path / "bench") as ledger:
        session = ledger.start_session("s", "", "", "")
        port = ledger.add_port(session.id, label)
        look = ledger.keep_look(port.id, picture(), *graded(), "", 0.1)
        ledger.thumbnail(look)
        assert ledger.ports(session.id)[0].label == label
        assert ledger.find_port(session.id, label) == port
        names = files_below(ledger.folder)
    # Letters of the SHA-256, of our own names, and nothing else.
    assert all(name.isascii() for name in names)
    with Ledger.open(tmp_path / "other") as other:
        plain = other.start_session("s", "", "", "")
        kept = other.keep_look(other.add_port(plain.id, "plain").id, picture(), *graded(), "", 0.1)
        other.thumbnail(kept)
        assert files_below(other.folder) == names
    assert {path.name for path in tmp_path.iterdir()} == {"bench", "other"}


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("\u00a0\u2003", "empty"),
        ("\u200b\u202e", "empty"),
        ("a\x00b", "U+0000"),
        ("a\nb", "U+000A"),
        ("tab\t", "U+0009"),
        ("\x7f", "U+007F"),
        ("line\u2028end", "U+2028"),
        ("half \ud83d", "U+D83D"),
        ("x" * 301, "301 characters"),
    ],
)
def test_a_label_that_cannot_be_shown_or_stored_is_refused_in_words(ledger: Ledger, label: str, words: str):
    session = ledger.start_session("s", "", "", "")
    with pytest.raises(LedgerError, match=words.replace("+", r"\+")):
        ledger.add_port(session.id, label)
    assert ledger.ports(session.id) == ()


def test_the_same_label_twice_is_refused_even_when_composed_otherwise(ledger: Ledger):
    """Unicode Standard Annex 15: U+00E9 and U+0065 U+0301 are canonically equivalent."""
    session = ledger.start_session("s", "", "", "")
    port = ledger.add_port(session.id, "caf\u00e9")
    with pytest.raises(LedgerError, match="already has a port"):
        ledger.add_port(session.id, "cafe\u0301")
    assert ledger.find_port(session.id, "cafe\u0301") == port
    other = ledger.start_session("another", "", "", "")
    assert ledger.find_port(other.id, "caf\u00e9") is None
    assert ledger.add_port(other.id, "cafe\u0301").label == "cafe\u0301"


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(label=st.text(min_size=1, max_size=300))
def test_any_label_is_kept_exactly_or_refused_in_words(ledger: Ledger, label: str):
    session = ledger.start_session("s", "", "", "")
    kinds = {unicodedata.category(sign) for sign in label}
    if kinds & {"Cc", "Cs", "Zl", "Zp"} or kinds <= {"Zs", "Cf"}:
        with pytest.raises(LedgerError, match=r"sign that can't be shown|empty"):
            ledger.add_port(session.id, label)
    else:
        assert ledger.port(ledger.add_port(session.id, label).id).label == label


def test_looks_of_a_port_count_up_and_lists_come_in_pages(ledger: Ledger):
    session = ledger.start_session("s", "", "", "")
    ports = [ledger.add_port(session.id, f"port {number}") for number in range(3)]
    for turn in range(2):
        for port in reversed(ports):
            ledger.keep_look(port.id, picture(turn), *graded(), "", 0.1)
    everything = ledger.looks(session.id)
    assert [(look.port.label, look.number) for look in everything] == [
        (port.label, number) for port in ports for number in (1, 2)
    ]
    assert [port.position for port in ledger.ports(session.id)] == [0, 1, 2]
    assert ledger.looks(session.id, 2, 3) == everything[2:5]
    assert ledger.looks(session.id, 5, 100) == everything[5:]
    assert ledger.looks(session.id, 6, 10) == ()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lookup, "_CHUNK", 4)
        assert tuple(ledger.each_look(session.id)) == everything
    assert ledger.latest_looks(session.id) == everything[1::2]
    assert ledger.latest_looks(session.id, 1, 1) == everything[3:4]
    assert ledger.count_looks(session.id) == 6
    assert ledger.ports(session.id, 1, 1) == (ports[1],)
    with pytest.raises(ValueError, match="page"):
        ledger.looks(session.id, -1)


def test_sessions_are_listed_the_newest_first_in_utc(tmp_path: Path):
    now = datetime(2026, 3, 1, 12, 0, tzinfo=timezone(timedelta(hours=2)))
    times = iter([now, now + timedelta(days=1), now + timedelta(days=1)])
    with Ledger.open(tmp_path, clock=lambda: next(times)) as ledger:
        made = [ledger.start_session(name, "", "", "") for name in ("first", "second", "third")]
        assert ledger.sessions() == tuple(reversed(made))
        assert ledger.sessions(1, 1) == (made[1],)
        assert made[0].started == datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
        assert ledger.sessions()[2].started.utcoffset() == timedelta(0)


def test_what_does_not_exist_is_said_so(ledger: Ledger):
    for ask in (ledger.session, ledger.port, ledger.look):
        with pytest.raises(LedgerError, match=r"There is no .* of number 99"):
            ask(99)
    with pytest.raises(LedgerError, match="no session"):
        ledger.add_port(99, "a")
    with pytest.raises(LedgerError, match="no session"):
        ledger.log_event(99, "caution acknowledged", "Operator One")
    with pytest.raises(LedgerError, match="no port"):
        ledger.keep_look(99, picture(), *graded(), "", 0.1)


def test_events_of_a_session_are_kept_in_order(ledger: Ledger):
    session = ledger.start_session("s", "Operator One", "", "")
    other = ledger.start_session("t", "Operator Two", "", "")
    first = ledger.log_event(
        session.id, "caution acknowledged", "Operator One", "source off, meter reads dark"
    )
    ledger.log_event(other.id, "caution acknowledged", "Operator Two")
    second = ledger.log_event(session.id, "scope cleaned", "Operator One")
    assert ledger.events(session.id) == (first, second)
    assert (first.what, first.who, first.how) == (
        "caution acknowledged",
        "Operator One",
        "source off, meter reads dark",
    )
    assert first.at.utcoffset() == timedelta(0)


def test_a_thumbnail_shows_the_fibre_is_small_and_is_made_again(ledger: Ledger):
    session = ledger.start_session("s", "", "", "")
    port = ledger.add_port(session.id, "1")
    pixels = np.zeros((480, 640, 3), np.uint8)
    left, top = (round(FIT.centre_px[0] - 156), round(FIT.centre_px[1] - 156))
    pixels[top : top + 312, left : left + 312] = 200
    look = ledger.keep_look(port.id, pixels, *graded(), "", 0.1)
    path = ledger.thumbnail(look)
    with Image.open(path) as image:
        assert max(image.size) <= 160
        bright = np.asarray(image.convert("L")) > 100
    # The crop's side is 1.3 cladding diameters: the square fills (1 / 1.3)² of it.
    assert bright.mean() == pytest.approx(1 / 1.3**2, abs=0.03)
    before = path.read_bytes()
    path.unlink()
    assert ledger.thumbnail(look).read_bytes() == before


def test_a_picture_without_a_fit_has_a_thumbnail_of_the_whole(ledger: Ledger):
    session = ledger.start_session("s", "", "", "")
    look = ledger.keep_look(
        ledger.add_port(session.id, "1").id, picture(1, (300, 900)), *unreadable(), "", 0.1
    )
    with Image.open(ledger.thumbnail(look)) as image:
        assert image.size == (160, 53)


def test_any_thread_may_call(ledger: Ledger):
    session = ledger.start_session("s", "", "", "")
    port = ledger.add_port(session.id, "1")
    reading, verdict = graded()

    def keep(seed: int) -> int:
        number = ledger.keep_look(port.id, picture(seed, (60, 80)), reading, verdict, "", 0.1).number
        assert len(ledger.looks_of_port(port.id)) >= 1
        return number

    with ThreadPoolExecutor(8) as pool:
        numbers = list(pool.map(keep, range(40)))
    assert sorted(numbers) == list(range(1, 41))
    assert ledger.verify().whole


def test_two_ledgers_in_one_program_do_not_mix(tmp_path: Path):
    with Ledger.open(tmp_path / "a") as first, Ledger.open(tmp_path / "b") as second:
        one = first.start_session("only in a", "", "", "")
        first.keep_look(first.add_port(one.id, "1").id, picture(1), *graded(), "", 0.1)
        two = second.start_session("only in b", "", "", "")
        assert [session.name for session in first.sessions()] == ["only in a"]
        assert [session.name for session in second.sessions()] == ["only in b"]
        assert second.looks(two.id) == ()


def test_everything_survives_a_restart(tmp_path: Path):
    child = """
import sys
sys.path.insert(0, sys.argv[2])
from hand_made import graded, picture
from workstation.ledger import Ledger
with Ledger.open(sys.argv[1]) as ledger:
    session = ledger.start_session("Tuesday", "Operator One", "bench scope", "sm-example")
    port = ledger.add_port(session.id, "🔌/1")
    ledger.keep_look(port.id, picture(7), *graded(), "simulated microscope", 0.5)
"""
    here = str(Path(__file__).parent)
    subprocess.run([sys.executable, "-c", child, str(tmp_path), here], check=True, timeout=60)
    with Ledger.open(tmp_path) as ledger:
        (session,) = ledger.sessions()
        (look,) = ledger.looks(session.id)
        assert (session.name, look.port.label) == ("Tuesday", "🔌/1")
        assert (look.reading, look.verdict) == graded()
        np.testing.assert_array_equal(ledger.picture(look), picture(7))
        assert ledger.keep_look(look.port.id, picture(8), *graded(), "", 0.1).number == 2
        assert ledger.verify().whole


def test_looks_can_be_read_while_another_window_writes(tmp_path: Path):
    with Ledger.open(tmp_path) as writer, Ledger.open(tmp_path, read_only=True) as reader:
        session = writer.start_session("s", "", "", "")
        assert reader.sessions() == (session,)
        with pytest.raises(LedgerError, match="opened only to read"):
            reader.start_session("t", "", "", "")
