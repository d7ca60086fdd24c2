"""The benchmark's own parts: who matches whom, what a verdict owes, which faces are drawn, the intervals."""

import json
import math
import re
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from tests.accuracy.__main__ import main, measured
from tests.accuracy.asked import all_figures
from tests.accuracy.figures import wilson
from tests.accuracy.looking import criteria_sets
from tests.accuracy.matching import Area, area_of, gap_um, match, overlap
from tests.accuracy.plan import FAULTY, RANGES, Planned, planned, seeds_of
from tests.accuracy.show import show
from tests.accuracy.truths import TOO_CLOSE, known, owed
from workstation.simulator import features, shapes
from workstation.simulator.optics import Optics
from workstation.simulator.scene import Fibre, Scene, SceneFeature
from workstation.simulator.truth import truth_of


def disc(x: float, y: float, diameter: float) -> Area:
    return area_of(shapes.circle((x, y), diameter, 180))


def bar(x0: float, x1: float, y: float, width: float) -> Area:
    line = np.column_stack([np.linspace(x0, x1, 41), np.full(41, y)])
    return area_of(shapes.stroke(line, width))


def ring(diameter: float, hole: float) -> Area:
    return area_of(shapes.circle((0, 0), diameter, 180), shapes.circle((0, 0), hole, 180))


@pytest.mark.parametrize("of", [1, 3, 20, 200, 5000])
@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.97, 1.0])
def test_wilsons_interval_is_that_of_scipy(of: int, share: float) -> None:
    count = round(share * of)
    theirs = binomtest(count, of).proportion_ci(method="wilson")
    assert wilson(count, of) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@given(apart=st.floats(0.2, 7.5), diameter=st.floats(4.0, 12.0))
@settings(max_examples=25, deadline=None)
def test_the_overlap_of_two_discs_is_that_of_geometry(apart: float, diameter: float) -> None:
    # Common area of two equal circles: 2 r² acos(d / 2r) − d/2 √(4r² − d²), plane geometry.
    r, d = diameter / 2, min(apart, diameter)
    lens = 2 * r * r * math.acos(d / (2 * r)) - d / 2 * math.sqrt(4 * r * r - d * d)
    expected = lens / (2 * math.pi * r * r - lens)
    got = overlap(disc(0, 0, diameter).filled, disc(d, 0, diameter).filled)
    assert got == pytest.approx(expected, abs=0.02)


def test_the_gap_of_two_discs_is_their_distance_less_their_radii() -> None:
    assert gap_um(disc(0, 0, 6), disc(10, 0, 4)) == pytest.approx(5.0, abs=0.05)
    assert gap_um(disc(0, 0, 6), disc(4, 0, 4)) == 0.0


def test_a_thin_scratch_found_a_little_beside_itself_is_found() -> None:
    result = match([bar(-30, 30, 0.0, 0.3)], [bar(-28, 30, 0.5, 0.8)], 0.4, [set()])
    assert result.pairs == {0: 0}
    assert result.false_alarms == ()


def test_a_scratch_found_in_two_is_found_once_and_its_other_part_is_no_false_alarm() -> None:
    result = match([bar(-40, 40, 0, 1)], [bar(-40, -5, 0, 1), bar(5, 40, 0, 1)], 0.4, [set()])
    assert set(result.pairs) == {0}
    assert set(result.pieces.values()) == {0}
    assert result.false_alarms == ()


def test_a_tenth_of_a_scratch_is_not_the_scratch() -> None:
    result = match([bar(-50, 50, 0, 1)], [bar(-50, -43, 0, 1)], 0.4, [set()])
    assert not result.pairs
    assert not result.merged
    assert result.false_alarms == ()


def test_two_grains_in_contact_may_be_one_find() -> None:
    true = [disc(0, 0, 6), disc(4.5, 0, 3)]
    both = area_of(np.concatenate([shapes.circle((0.75, 0), 7.5, 90)]))
    result = match(true, [both], 0.4, [{1}, {0}])
    assert result.pairs == {0: 0}
    assert result.merged == {1: 0}


def test_a_grain_is_not_found_by_a_large_find_of_something_else() -> None:
    result = match([disc(0, 0, 40), disc(30, 0, 1.5)], [disc(2, 0, 62)], 0.4, [set(), set()])
    assert result.pairs == {0: 0}
    assert 1 not in result.merged


def test_what_is_found_in_the_untouched_middle_of_a_ring_is_a_false_alarm() -> None:
    result = match([ring(40, 34)], [disc(0, 0, 40), disc(0, 0, 3)], 0.4, [set()])
    assert result.pairs == {0: 0}
    assert result.false_alarms == (1,)


def test_what_is_found_far_from_everything_true_is_a_false_alarm() -> None:
    result = match([disc(0, 0, 5)], [disc(0, 0, 5), disc(8, 0, 3), disc(4.5, 0, 2)], 0.4, [set()])
    assert result.false_alarms == (1,)
    assert result.pieces == {2: 0}


def test_nothing_found_and_nothing_true_match_nothing() -> None:
    assert match([], [], 0.4, []).false_alarms == ()
    assert match([], [disc(0, 0, 3)], 0.4, []).false_alarms == (0,)
    assert match([disc(0, 0, 3)], [], 0.4, [set()]).pairs == {}


@given(order=st.permutations(range(4)))
@settings(max_examples=12, deadline=None)
def test_the_order_of_the_finds_changes_nothing(order: list[int]) -> None:
    true = [disc(0, 0, 5), bar(-40, 40, 20, 1), disc(0, -30, 8)]
    found = [disc(0.4, 0, 5), bar(-40, 0, 20, 1), bar(2, 40, 20, 1.2), disc(50, 50, 3)]
    plain = match(true, found, 0.4, [set()] * 3)
    turned = match(true, [found[i] for i in order], 0.4, [set()] * 3)
    assert {t: order[f] for t, f in turned.pairs.items()} == plain.pairs
    assert {order[f] for f in turned.false_alarms} == set(plain.false_alarms)


def owes(*on_it: SceneFeature, optics: Optics | None = None) -> str:
    scene = Scene(fibres=(Fibre(),), features=on_it)
    optics = optics or Optics(width_px=1280, height_px=1024, um_per_px=0.3)
    truth = truth_of(scene, optics)
    return owed(known(scene, optics, truth), truth, criteria_sets()[0])


def pit(x: float, y: float, size_um: float, contrast: float = -0.6) -> SceneFeature:
    return features.pit(np.random.default_rng(1), (x, y), size_um, contrast)


# Limits of IEC 61300-3-35:2015, single-mode PC ≥ 45 dB, as the default criteria have them: zone A (to 25 µm)
# no defects, zone B (to 115 µm) none above 5 µm and five from 2 to 5 µm.
@pytest.mark.parametrize(
    ("size_um", "verdict"), [(3.5, "pass"), (4.8, TOO_CLOSE), (5.2, TOO_CLOSE), (6.5, "fail")]
)
def test_a_defect_in_zone_b_owes_what_the_table_says(size_um: float, verdict: str) -> None:
    assert owes(pit(35, 0, size_um)) == verdict


def test_a_clean_face_owes_a_pass_and_a_defect_on_the_core_a_fail() -> None:
    assert owes() == "pass"
    assert owes(pit(0, 2, 3)) == "fail"


def test_a_defect_at_a_zones_border_is_too_close_to_call() -> None:
    assert owes(pit(12.5 + 1.5 + 0.1, 0, 3)) == TOO_CLOSE


def test_two_pits_in_contact_that_together_are_too_large_are_too_close_to_call() -> None:
    assert owes(pit(35, 0, 3.5), pit(38.3, 0, 3.5)) == TOO_CLOSE


def test_a_verdict_that_hangs_on_something_faint_is_too_close_to_call() -> None:
    assert owes(pit(0, 2, 0.8, -0.01)) == TOO_CLOSE


def test_what_is_hidden_or_out_of_view_is_not_asked_for() -> None:
    scene = Scene(fibres=(Fibre(),), features=(pit(20, 0, 2), pit(20, 0, 9), pit(0, 95, 4)))
    optics = Optics(width_px=640, height_px=480, um_per_px=0.3)
    why = [one.why_not for one in known(scene, optics, truth_of(scene, optics))]
    assert why == ["hidden", "", "out of view"]


def test_no_seed_is_in_two_ranges() -> None:
    every = [seed for name in RANGES for seed in seeds_of(name, 2000, 500)]
    assert len(set(every)) == len(every)
    assert all(seed - start < 2 * FAULTY for start in RANGES.values() for seed in range(start, start + 3))


def test_a_seed_is_always_the_same_face() -> None:
    assert planned(RANGES["develop"] + 7) == planned(RANGES["develop"] + 7)


def test_a_seed_outside_every_range_is_refused() -> None:
    with pytest.raises(ValueError, match="lies in none of the ranges"):
        planned(12)


@pytest.fixture(scope="module")
def faces() -> list[Planned]:
    return [planned(seed) for seed in seeds_of("develop", 400, 100)]


def test_four_hundred_faces_hold_every_kind_that_is_asked_for(faces: list[Planned]) -> None:
    good = [face for face in faces if not face.fault]
    assert len(good) == 400
    scales = [face.optics.um_per_px for face in good]
    assert min(scales) < 0.125
    assert max(scales) > 0.53
    sizes = Counter((face.optics.width_px, face.optics.height_px) for face in good)
    assert min(sizes.values()) >= 60
    assert {(640, 480), (2592, 1944)} <= set(sizes)
    steps = [face.scene.fibres[0].core_step for face in good]
    assert min(steps) < -0.04
    assert max(steps) > 0.47
    assert sum(face.optics.colour is not None for face in good) == 120
    assert sum(face.optics.jpeg_quality is not None for face in good) == 80
    assert sum(face.scene.ferrule_level > face.scene.cladding_level for face in good) == pytest.approx(
        200, abs=20
    )
    assert sum(face.camera_faults for face in good) == 160
    assert Counter(face.contents for face in good)["clean"] == 100
    assert len({face.contents for face in good}) == 11
    assert Counter(face.scene.fibres[0].kind for face in good).most_common()[-1][1] >= 80
    bright = sum(one.contrast > 0 for face in good for one in face.scene.features)
    assert bright >= 200


def test_a_hundred_spoilt_pictures_hold_every_fault(faces: list[Planned]) -> None:
    faults = Counter(face.fault for face in faces if face.fault)
    assert faults == dict.fromkeys(("defocused", "cut_off", "black", "burnt_out", "no_fibre"), 20)


@pytest.mark.slow
def test_the_figures_are_the_same_for_any_number_of_processes() -> None:
    seeds = seeds_of("develop", 4, 2)
    alone, both = (all_figures(measured(seeds, jobs, quiet=True)) for jobs in (1, 2))
    assert repr(alone) == repr(both)


@pytest.mark.slow
def test_the_command_writes_figures_and_a_page_and_names_the_command_for_a_picture(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--faces", "3", "--faulty", "2", "--jobs", "1", "--out", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert "Asked for" in told
    assert "--show SEED" in told
    figures = json.loads((tmp_path / "figures.json").read_text(encoding="utf-8"))
    assert figures["figures"]["refusals"]["readable refused"]["of"] == 3
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    plots = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    assert len(plots) >= 10
    assert all(ElementTree.fromstring(plot).tag.endswith("svg") for plot in plots)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [RANGES["develop"] + 3, RANGES["develop"] + FAULTY])
def test_a_picture_is_drawn_with_its_outlines(tmp_path: Path, seed: int) -> None:
    picture = cv2.imread(str(show(seed, tmp_path)))
    assert picture is not None
    assert picture.shape[1] >= 800
