"""The pictures that ship: each gets one valid record, and the verdict that its truth asks for.

What is true of a picture lies beside it. The verdict that it asks for is worked out here, from the zones and
limits of IEC 61300-3-35:2015 as they stand in one reproduction of its tables, by features that keep or break
a limit by a clear margin.
"""

import json
import math
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from workstation.cli import main

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_captures"
PICTURES = sorted(path for path in SAMPLES.iterdir() if path.suffix in {".png", ".jpg"})
SINGLE_MODE, MULTIMODE = "iec-61300-3-35-2015-sm-pc-45", "iec-61300-3-35-2015-mm-pc"

# Outer radius of zones A, B, C and D in µm.
ZONES = {SINGLE_MODE: (12.5, 57.5, 67.5, 125.0), MULTIMODE: (32.5, 57.5, 67.5, 125.0)}
# The largest defect and the widest scratch that a zone may hold; None for any.
DEFECT_UM = {SINGLE_MODE: (0.0, 5.0, None, 10.0), MULTIMODE: (5.0, 10.0, None, 30.0)}
SCRATCH_UM = {SINGLE_MODE: (0.0, 3.0, None, None), MULTIMODE: (3.0, 5.0, None, None)}
# Above this size a defect in zone A or B is counted, and this many are allowed.
COUNTED_UM = {SINGLE_MODE: (0.0, 2.0), MULTIMODE: (0.0, 5.0)}
COUNT = {SINGLE_MODE: (0, 5), MULTIMODE: (4, 5)}
MARGIN = 0.08  # of a limit
VISIBLE = 0.25  # contrast from which a feature of such sizes must be found

# A word that the first reason must hold, by what is wrong with the picture.
WORD = {
    "black": "black",
    "burnt_out": "over-exposed",
    "cut_off": "cut off",
    "defocused": "focus",
    "no_fibre": "No fibre",
}


def truth_of(picture: Path) -> dict[str, Any]:
    values: dict[str, Any] = json.loads(picture.with_suffix(".truth.json").read_text(encoding="utf-8"))
    return values


def criteria_of(truth: dict[str, Any]) -> str:
    return MULTIMODE if str(truth["fibre"]).startswith("multimode") else SINGLE_MODE


def innermost_um(feature: dict[str, Any]) -> float:
    """Distance from the centre at which a feature begins, by the corners of its outline."""
    return min(math.hypot(x, y) for x, y in feature["outline_um"])


def expected(truth: dict[str, Any]) -> str:
    """Work out the verdict that the truth asks for; empty where it asks for none beyond doubt."""
    if truth["condition"] != "good":
        return "unreadable"
    criteria = criteria_of(truth)
    counts = [0, 0]
    doubtful = False
    for feature in truth["features"]:
        inner = innermost_um(feature)
        zone = next((i for i, radius in enumerate(ZONES[criteria]) if inner < radius), None)
        if zone is None:
            continue
        scratch = feature["form"] == "scratch"
        limit = (SCRATCH_UM if scratch else DEFECT_UM)[criteria][zone]
        size = feature["width_um"] if scratch else feature["size_um"]
        at_edge = abs(inner - ZONES[criteria][zone]) < 0.5
        if limit is not None and size > limit * (1 - MARGIN):
            clear = size > limit * (1 + MARGIN) and not at_edge and abs(feature["contrast"]) >= VISIBLE
            if clear:
                return "fail"
            doubtful = True
        elif not scratch and zone < 2 and size > COUNTED_UM[criteria][zone]:
            counts[zone] += 1
    if any(count > allowed for count, allowed in zip(counts, COUNT[criteria], strict=True)):
        return "fail"
    return "" if doubtful else "pass"


@pytest.fixture(scope="module")
def graded(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, dict[str, Any]]]:
    """Records by criteria and name of the picture."""
    schema = json.loads((ROOT / "resources/schemas/grading-record-1.json").read_text(encoding="utf-8"))
    validator = Draft202012Validator(schema)
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for criteria in (SINGLE_MODE, MULTIMODE):
        out = tmp_path_factory.mktemp("graded") / "records.jsonl"
        assert main(["grade", str(SAMPLES), "--criteria", criteria, "--out", str(out)]) == 0
        records = [json.loads(line) for line in out.read_text(encoding="ascii").splitlines()]
        for record in records:
            validator.validate(record)
        assert len(records) == len(PICTURES)
        found[criteria] = {Path(record["image"]).name: record for record in records}
    return found


def test_every_sample_has_its_truth_beside_it() -> None:
    assert len(PICTURES) >= 15
    outcomes = {expected(truth_of(picture)) for picture in PICTURES}
    assert outcomes == {"pass", "fail", "unreadable"}


def test_each_sample_gives_one_record(graded: dict[str, dict[str, dict[str, Any]]]) -> None:
    for criteria in (SINGLE_MODE, MULTIMODE):
        assert sorted(graded[criteria]) == sorted(path.name for path in PICTURES)


@pytest.mark.parametrize("picture", PICTURES, ids=lambda path: path.name)
def test_a_sample_s_verdict_follows_from_its_truth(
    picture: Path, graded: dict[str, dict[str, dict[str, Any]]]
) -> None:
    truth = truth_of(picture)
    record = graded[criteria_of(truth)][picture.name]
    assert record["verdict"] == expected(truth), record["reasons"]


@pytest.mark.parametrize("picture", PICTURES, ids=lambda path: path.name)
def test_an_unreadable_sample_says_what_is_wrong_with_it(
    picture: Path, graded: dict[str, dict[str, dict[str, Any]]]
) -> None:
    truth = truth_of(picture)
    if truth["condition"] == "good":
        return
    for criteria in (SINGLE_MODE, MULTIMODE):
        record = graded[criteria][picture.name]
        assert record["verdict"] == "unreadable"
        assert WORD[truth["condition"]] in record["reasons"][0]


@pytest.mark.parametrize("picture", PICTURES, ids=lambda path: path.name)
def test_a_good_sample_is_measured_where_it_is(
    picture: Path, graded: dict[str, dict[str, dict[str, Any]]]
) -> None:
    truth = truth_of(picture)
    fit = graded[criteria_of(truth)][picture.name]["fit"]
    if truth["condition"] != "good":
        return
    assert math.dist(fit["centre_px"], truth["centre_px"]) * truth["um_per_px"] <= 0.1
    assert fit["cladding_diameter_px"] == pytest.approx(truth["cladding_diameter_px"], rel=0.004)


@pytest.mark.parametrize("picture", PICTURES, ids=lambda path: path.name)
def test_criteria_for_another_fibre_say_so(
    picture: Path, graded: dict[str, dict[str, dict[str, Any]]]
) -> None:
    truth = truth_of(picture)
    if truth["condition"] != "good" or criteria_of(truth) == SINGLE_MODE:
        return
    assert any("multimode" in reason for reason in graded[SINGLE_MODE][picture.name]["reasons"])
    assert not any("Choose the criteria" in reason for reason in graded[MULTIMODE][picture.name]["reasons"])
