"""The grading record against its JSON Schema, by a validator that is not ours (jsonschema, 2020-12)."""

import json
import math
from dataclasses import fields, replace
from typing import Any

import pytest
from hand_made import CRITERIA, FIT, graded, unreadable
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, ValidationError

from workstation.criteria import available, judge, load_criteria
from workstation.paths import resources
from workstation.reports import SCHEMA, error_record, record, record_line
from workstation.values import (
    Cause,
    Check,
    Core,
    CoreKind,
    Feature,
    Fit,
    Form,
    NoFit,
    NoFitReason,
    Occlusion,
    Outcome,
    Placed,
    Polarity,
    Readiness,
    Reading,
    ScaleSource,
    Verdict,
    ZoneResult,
)

# The names and their order of nesting, as the project's design lays them down.
FIELDS = {
    "": "schema image verdict reasons criteria fit readiness zones features occlusion seconds",
    "criteria": "id title source provenance",
    "fit": "centre_px core_centre_px cladding_diameter_px um_per_px scale_source",
    "readiness": "blur_um smallest_visible_um checks",
    "checks": "name ok value limit unit",
    "zones": "zone inner_um outer_um seen scratches defects broken",
    "features": "id form cause confidence zone size_um size_error_um width_um length_um "
    "centroid_um outline_um counted",
    "occlusion": "weighted_fraction loss_db",
}

SCHEMA_TEXT = json.loads((resources() / "schemas" / f"{SCHEMA}.json").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA_TEXT)

finite = st.floats(-1e6, 1e6)
lengths = st.floats(0.0, 1e5)
positive = st.floats(1e-3, 1e5)
fractions = st.floats(0.0, 1.0)
points = st.tuples(finite, finite)
words = st.text(min_size=1, max_size=20)
odd = st.floats(allow_nan=True, allow_infinity=True)
fits = st.builds(
    Fit,
    centre_px=points,
    cladding_diameter_px=positive,
    um_per_px=st.floats(1e-3, 10.0),
    scale_source=st.sampled_from(ScaleSource),
    scale_error=fractions,
    blur_um=lengths,
    polarity=st.sampled_from(Polarity),
    support=fractions,
    core=st.none() | st.builds(Core, points, positive, finite, st.sampled_from(CoreKind)),
)
checks = st.lists(st.builds(Check, words, st.booleans(), odd, odd, st.text(max_size=5)), max_size=3).map(
    tuple
)
features = st.builds(
    Feature,
    id=st.integers(1, 9),
    form=st.sampled_from(Form),
    cause=st.sampled_from(Cause),
    confidence=fractions,
    size_um=lengths,
    size_error_um=lengths | st.just(math.inf),
    width_um=lengths,
    width_error_um=lengths,
    length_um=lengths,
    contrast=finite,
    centroid_um=points,
    outline_um=st.lists(points, max_size=6).map(tuple),
    inner_um=lengths,
    outer_um=lengths,
)
readings = st.builds(
    Reading,
    fit=fits | st.builds(NoFit, st.sampled_from(NoFitReason), words),
    readiness=st.builds(Readiness, st.none() | lengths, st.none() | lengths, st.none() | lengths, checks),
    features=st.lists(features, max_size=4).map(tuple),
    view_um=st.none() | st.tuples(finite, finite, finite, finite),
    occlusion=st.none() | st.builds(Occlusion, fractions, lengths | st.just(math.inf), positive),
)
zones = st.builds(
    ZoneResult,
    zone=st.sampled_from("ABCD"),
    inner_um=lengths,
    outer_um=positive,
    seen=fractions,
    scratches=st.integers(0, 1000),
    defects=st.integers(0, 1000),
    broken=st.lists(words, max_size=2).map(tuple),
)
verdicts = st.builds(
    Verdict,
    outcome=st.sampled_from(Outcome),
    reasons=st.lists(words, max_size=3).map(tuple),
    criteria=st.just(CRITERIA),
    zones=st.lists(zones, max_size=4).map(tuple),
    placed=st.lists(
        st.builds(
            Placed, st.integers(1, 10_000), st.sampled_from(["", *"ABCD"]), st.booleans(), st.booleans()
        ),
        max_size=4,
    ).map(tuple),
    checks=checks,
    next_step=words,
    cleaning_may_help=st.booleans(),
)


def example(outcome: Outcome = Outcome.FAIL) -> dict[str, Any]:
    reading, verdict = graded()
    return record("faces/one.png", reading, replace(verdict, outcome=outcome), 0.123456789)


def objects(schema: Any) -> list[dict[str, Any]]:
    """Every part of a schema that describes an object."""
    found = [schema] if isinstance(schema, dict) and "properties" in schema else []
    parts = schema.values() if isinstance(schema, dict) else schema if isinstance(schema, list) else []
    return found + [one for part in parts for one in objects(part)]


def test_the_schema_is_one_and_strict_everywhere():
    Draft202012Validator.check_schema(SCHEMA_TEXT)
    assert len(objects(SCHEMA_TEXT)) == 9
    for part in objects(SCHEMA_TEXT):
        assert part["additionalProperties"] is False
        assert sorted(part["required"]) == sorted(part["properties"])


@pytest.mark.parametrize("outcome", Outcome)
def test_a_record_of_each_outcome_is_valid(outcome: Outcome):
    values = example(outcome)
    VALIDATOR.validate(values)
    assert values["verdict"] == outcome.value


def test_the_fields_are_those_of_the_design():
    values = example()
    parts = {
        "": values,
        "checks": values["readiness"]["checks"][0],
        "zones": values["zones"][0],
        "features": values["features"][0],
        **{name: values[name] for name in ("criteria", "fit", "readiness", "occlusion")},
    }
    for name, names in FIELDS.items():
        assert list(parts[name]) == names.split()


def test_the_values_are_those_of_reading_and_verdict():
    values = example()
    assert values["fit"] == {
        "centre_px": [320.25, 239.75],
        "core_centre_px": [320.3, 239.7],
        "cladding_diameter_px": 312.5,
        "um_per_px": 0.4,
        "scale_source": "cladding",
    }
    # Diameters, as IEC 61300-3-35:2015 states the zones of single-mode PC connectors.
    assert [(zone["zone"], zone["inner_um"], zone["outer_um"]) for zone in values["zones"]] == [
        ("A", 0.0, 25.0),
        ("B", 25.0, 115.0),
    ]
    assert [(one["id"], one["zone"], one["counted"]) for one in values["features"]] == [
        (1, "A", False),
        (2, "B", True),
    ]
    assert values["seconds"] == 0.1235
    assert [check["name"] for check in values["readiness"]["checks"]] == ["blur", "smallest_visible"]


def test_a_picture_without_a_fit_has_nulls_in_the_right_places():
    values = record("black.png", *unreadable(), 0.01)
    VALIDATOR.validate(values)
    assert (values["fit"], values["occlusion"], values["zones"], values["features"]) == (None, None, [], [])
    assert values["readiness"]["blur_um"] is None
    assert values["reasons"] == ["The picture is black. Turn the lamp up."]
    assert [(check["name"], check["ok"]) for check in values["readiness"]["checks"]] == [("light", False)]


def test_a_feature_outside_every_zone_has_no_zone():
    reading, verdict = graded()
    placed = (Placed(1, "", False, False),)
    values = record("a.png", reading, replace(verdict, placed=placed), 0.1)
    VALIDATOR.validate(values)
    assert [(one["zone"], one["counted"]) for one in values["features"]] == [(None, False), (None, False)]


def test_a_picture_that_could_not_be_read_has_an_error_and_no_verdict():
    values = error_record("broken.png", "The file is cut off. Copy it again.")
    VALIDATOR.validate(values)
    assert values == {
        "schema": "grading-record-1",
        "image": "broken.png",
        "verdict": None,
        "error": "The file is cut off. Copy it again.",
    }


@pytest.mark.parametrize(
    "change",
    [
        {"verdict": "good"},
        {"verdict": None},
        {"schema": "grading-record-2"},
        {"extra": 1},
        {"error": "both"},
        {"seconds": -1},
        {"image": ""},
        {"zones": [{"zone": "E"}]},
    ],
)
def test_the_schema_refuses_what_is_no_record(change: dict[str, Any]):
    with pytest.raises(ValidationError):
        VALIDATOR.validate(example() | change)


@settings(max_examples=150, deadline=None)
@given(reading=readings, verdict=verdicts, seconds=st.floats(0.0, 1e4))
def test_any_reading_and_verdict_give_a_valid_line_that_reads_back_the_same(
    reading: Reading, verdict: Verdict, seconds: float
):
    values = record("a/β.png", reading, verdict, seconds)
    VALIDATOR.validate(values)
    line = record_line(values)
    assert "\n" not in line
    assert line.isascii()

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON (RFC 8259, section 6)")

    assert json.loads(line, parse_constant=refuse) == values
    # Rounding is stable: a record of the rounded values is the same record.
    assert record_line(record("a/β.png", reading, verdict, seconds)) == line


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", [one.name for one in fields(Fit) if one.name in FIELDS["fit"].split()[2:4]])
def test_a_number_that_must_be_finite_and_is_not_is_named(name: str, bad: float):
    reading, verdict = graded()
    with pytest.raises(ValueError, match=f"fit.{name} must be a finite number"):
        record("a.png", replace(reading, fit=replace(FIT, **{name: bad})), verdict, 0.1)


def test_numbers_are_rounded_to_what_they_can_mean():
    reading, verdict = graded()
    fit = replace(FIT, um_per_px=0.123456789, centre_px=(1.23456789, -0.00001))
    values: Any = record("a.png", replace(reading, fit=fit), verdict, 0.1)
    assert values["fit"]["um_per_px"] == 0.123457
    assert values["fit"]["centre_px"] == [1.235, 0.0]
    assert math.copysign(1.0, values["fit"]["centre_px"][1]) == 1.0


def test_a_path_that_is_no_unicode_survives_its_line():
    """Such a name reaches Python with surrogate escapes (PEP 383)."""
    path = b"caf\xe9.png".decode("utf-8", "surrogateescape")
    line = record_line(error_record(path, "broken"))
    assert json.loads(line)["image"].encode("utf-8", "surrogateescape") == b"caf\xe9.png"


@pytest.mark.parametrize("criteria_id", [criteria.id for criteria in available()])
@pytest.mark.parametrize("seen", [graded(), unreadable()], ids=["a face", "a black picture"])
def test_a_verdict_of_each_shipped_table_gives_a_valid_record(
    criteria_id: str, seen: tuple[Reading, Verdict]
):
    verdict = judge(seen[0], load_criteria(criteria_id))
    values: Any = record("a.png", seen[0], verdict, 0.1)
    VALIDATOR.validate(values)
    assert values["criteria"]["id"] == criteria_id
    assert values["verdict"] == verdict.outcome.value
