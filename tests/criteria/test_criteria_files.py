"""A person's own criteria file, and errors that name file, line, field and what is expected."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workstation.criteria import DEFAULT_ID, CriteriaError, Known, judge, load_criteria
from workstation.values import Form

OWN = """\
format: 1
id: own-rules
title: Own rules
source: Agreed with the customer
provenance: Written by hand
fibre: single-mode
mode_field_diameter_um: 9.2
smallest_asked_um: 2
narrowest_scratch_asked_um: 2.5
zones:
  - letter: A
    inner_um: 0
    outer_um: 30
    wholly_in_view: true
    known: own choice
    scratches:
      - { from: 0, at_most: 0, known: own choice }
    defects:
      - { from: 0, below: 2, at_most: no limit, known: own choice }
      - { from: 2, to: 4, at_most: 3, known: own choice, note: agreed }
      - { above: 4, at_most: 0, known: own choice }
  - letter: B
    inner_um: 30
    outer_um: 120
    wholly_in_view: true
    known: from memory
    scratches:
      - { from: 0, at_most: no limit, known: own choice }
    defects:
      - { from: 0, at_most: no limit, known: own choice }
"""


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "own rules µ.yaml"
    path.write_text(OWN, encoding="utf-8")
    return path


def _error(path: Path, old: str, new: str) -> str:
    assert old in OWN
    path.write_text(OWN.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(CriteriaError) as caught:
        load_criteria(path)
    return str(caught.value)


def test_a_file_of_ones_own_is_read_like_a_shipped_one(own: Path) -> None:
    criteria = load_criteria(str(own))
    assert criteria == load_criteria(own)
    assert [zone.letter for zone in criteria.zones] == ["A", "B"]
    rule = criteria.zones[0].rules[2]
    assert (rule.form, rule.sizes.low_um, rule.sizes.high_um, rule.at_most) == (Form.DEFECT, 2.0, 4.0, 3)
    assert (rule.sizes.holds_low, rule.sizes.holds_high, rule.note) == (True, True, "agreed")
    assert criteria.zones[0].known is Known.OWN_CHOICE
    assert criteria.unverified  # zone B's diameters are from memory


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(own: Path) -> None:
    own.write_bytes(b"\xef\xbb\xbf" + OWN.replace("\n", "\r\n").encode())
    assert load_criteria(own).id == "own-rules"


@pytest.mark.parametrize(
    ("old", "new", "line", "field", "expected"),
    [
        ("at_most: 3", "at_most: -3", 20, "zones 1 > defects 2 > at_most", "“no limit”; found “-3”"),
        ("at_most: 3", "at_most: a few", 20, "zones 1 > defects 2 > at_most", "found “a few”"),
        ("at_most: 3", "at_most: true", 20, "zones 1 > defects 2 > at_most", "a whole number"),
        ("at_most: 3", "at_most: ~", 20, "zones 1 > defects 2 > at_most", "found nothing"),
        ("at_most: 3", "at_most: 3, limit: 3", 20, "zones 1 > defects 2 > limit", "Check its spelling"),
        ("at_most: 3, ", "", 20, "zones 1 > defects 2 > at_most", "missing"),
        ("below: 2", "below: -2", 19, "zones 1 > defects 1 > below", "a size of 0 µm or more"),
        ("below: 2", "below: .inf", 19, "zones 1 > defects 1 > below", "a size of 0 µm or more"),
        ("below: 2", "below: 2 µm", 19, "zones 1 > defects 1 > below", "found “2 µm”"),
        ("from: 2, to: 4", "from: 1, to: 4", 20, "zones 1 > defects 2", "overlap"),
        ("from: 2, to: 4", "above: 2, to: 4", 20, "zones 1 > defects 2", "“from: 2”"),
        ("from: 2, to: 4", "from: 2, to: 1", 20, "zones 1 > defects 2", "under the lower one"),
        ("from: 2, to: 4", "from: 2, above: 2, to: 4", 20, "zones 1 > defects 2", "Keep one of them"),
        ("from: 2, to: 4", "from: 2, to: 4, below: 4", 20, "zones 1 > defects 2", "Keep one of them"),
        ("above: 4", "from: 4", 21, "zones 1 > defects 3", "overlap"),
        ("above: 4", "above: 4, to: 9", 21, "zones 1 > defects 3", "above 9 µm"),
        ("inner_um: 30", "inner_um: 31", 23, "zones 2 > inner_um", "leaves a gap"),
        ("inner_um: 30", "inner_um: 29", 23, "zones 2 > inner_um", "leaves an overlap"),
        ("outer_um: 120", "outer_um: 25", 24, "zones 2 > outer_um", "inner diameter of 30"),
        ("outer_um: 120", "outer_um: wide", 24, "zones 2 > outer_um", "a diameter above 0 µm"),
        ("letter: B", "letter: A", 22, "zones 2 > letter", "given before"),
        ("letter: B", "letter: b", 22, "zones 2 > letter", "one capital letter"),
        ("known: from memory", "known: hearsay", 26, "zones 2 > known", "“seen in the standard”"),
        ("fibre: single-mode", "fibre: plastic", 6, "fibre", "“multimode”"),
        ("wholly_in_view: true", "wholly_in_view: yes", 14, "zones 1 > wholly_in_view", "true or false"),
        ("format: 1", "format: 2", 1, "format", "the number 1"),
        ("smallest_asked_um: 2", "smallest_asked_um: 0", 8, "smallest_asked_um", "above 0"),
        ("title: Own rules", "title:", 3, "title", "some words"),
        ("id: own-rules", "id: Own Rules", 2, "id", "a short name"),
    ],
)
def test_an_error_names_file_line_field_and_what_is_expected(
    own: Path, old: str, new: str, line: int, field: str, expected: str
) -> None:
    message = _error(own, old, new)
    assert message.startswith(f"own rules µ.yaml, line {line}, {field}: ")
    assert expected in message
    assert "\n" not in message


def test_every_error_of_a_file_is_told_in_its_order(own: Path) -> None:
    own.write_text(
        OWN.replace("letter: B", "letter: bee").replace("at_most: 3", "at_most: -3"), encoding="utf-8"
    )
    with pytest.raises(CriteriaError) as caught:
        load_criteria(own)
    assert [text.split(",")[1] for text in str(caught.value).splitlines()] == [" line 20", " line 22"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "found nothing"),
        ("- 1\n- 2\n", "expected"),
        ("just words", "expected"),
        ("format: [1\n", "line 2: this isn't valid YAML"),
        ("format: 1\nformat: 1\n", "line 2: this isn't valid YAML"),
        ("a: &x [1]\nb: *x\n", "line 1: anchors"),
        ("a: !!python/object/apply:os.system [ls]\n", "line 1: tags"),
        ("a: 1\n---\nb: 2\n", "a second document"),
        ("[" * 1000, "nested more than"),
        ("\x00", "isn't valid YAML"),
    ],
)
def test_what_is_no_criteria_file_is_said_to_be_so(own: Path, text: str, words: str) -> None:
    own.write_text(text, encoding="utf-8")
    with pytest.raises(CriteriaError, match=r"own rules µ\.yaml") as caught:
        load_criteria(own)
    assert words in str(caught.value)


def test_aliases_that_multiply_are_refused_before_they_are_built(own: Path) -> None:
    """The well-known billion laughs: nine levels of nine aliases each."""
    levels = ["a0: &a0 [lol, lol]"] + [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 10)]
    own.write_text("\n".join(levels), encoding="utf-8")
    with pytest.raises(CriteriaError, match="line 1: anchors"):
        load_criteria(own)


def test_a_large_file_is_refused_unread(own: Path) -> None:
    own.write_bytes(b"#" * 300_000)
    with pytest.raises(CriteriaError, match="more than 256 kB"):
        load_criteria(own)


def test_text_in_another_encoding_is_named_with_its_line(own: Path) -> None:
    own.write_bytes(OWN.replace("Own rules", "Löcher").encode("latin-1"))
    with pytest.raises(CriteriaError, match="line 3: the text isn't UTF-8"):
        load_criteria(own)


@pytest.mark.parametrize(
    "name", ["no-such-criteria", "", "\x00", "x" * 5000, "/", "iec-61300-3-35-2015-sm-pc-45.yaml"]
)
def test_unknown_criteria_are_an_error_that_lists_the_known_ones_or_the_fault(name: str) -> None:
    with pytest.raises(CriteriaError) as caught:
        load_criteria(name)
    assert DEFAULT_ID in str(caught.value) or "can't be read" in str(caught.value)


@settings(deadline=None)
@given(st.integers(0, len(OWN) - 1), st.text(max_size=8))
def test_a_damaged_file_is_read_or_refused_and_never_breaks_anything(
    tmp_path_factory: pytest.TempPathFactory, at: int, put: str
) -> None:
    path = tmp_path_factory.mktemp("damaged") / "own.yaml"
    path.write_bytes((OWN[:at] + put + OWN[at + 3 :]).encode("utf-8", "surrogatepass"))
    try:
        criteria = load_criteria(path)
    except CriteriaError as error:
        assert "own.yaml" in str(error)  # noqa: PT017
    else:
        assert criteria.zones


def test_own_criteria_judge(own: Path) -> None:
    from hand_made_readings import feature, features, reading

    criteria = load_criteria(own)
    assert judge(reading(*features([3.0] * 3, 5.0)), criteria).outcome.value == "pass"
    verdict = judge(reading(feature(1.0, 5.0, form=Form.SCRATCH)), criteria)
    assert verdict.outcome.value == "fail"
    assert "from memory" not in verdict.reasons[-1]
