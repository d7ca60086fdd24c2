"""Faces by chance: within published tolerances, as they were asked for, the same for the same seed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from workstation.simulator.random_contents import Contents
from workstation.simulator.random_faces import FORMATS, Fault, random_case
from workstation.simulator.render import render
from workstation.simulator.scene import FibreKind
from workstation.simulator.truth import truth_of
from workstation.values import Cause, Form

SEEDS = range(120)


def test_a_seed_gives_the_same_case_each_time() -> None:
    for seed in range(20):
        assert random_case(seed) == random_case(seed)
        assert random_case(seed) == random_case(np.random.default_rng(seed))
    assert random_case(1) != random_case(2)


def test_good_faces_show_zones_a_to_c_and_a_cladding_of_20_to_90_percent_of_the_height() -> None:
    # Source of the 135 um: IEC 61300-3-35:2015, zone C as reproduced in the trade.
    for seed in SEEDS:
        scene, optics = random_case(seed)
        truth = truth_of(scene, optics)
        assert truth.condition == "good"
        assert truth.centre_px is not None
        x, y = truth.centre_px
        reach = 67.5 / optics.um_per_px
        assert min(x, y, optics.width_px - 1 - x, optics.height_px - 1 - y) >= reach
        assert 0.199 < 125 / optics.um_per_px / optics.height_px < 0.901
        assert 0.119 < optics.um_per_px < 0.551
        assert (optics.width_px, optics.height_px) in FORMATS


def test_fibres_stay_within_published_tolerances() -> None:
    # Sources, all from memory: cladding 125.0 ± 0.7 um and core offset ≤ 0.6 um, ITU-T G.657 and G.652; cores
    # 50 and 62.5 ± 2.5 um, offset ≤ 2 um, IEC 60793-2-10; pitch 250 um, IEC 61754-7.
    for seed in SEEDS:
        scene, _ = random_case(seed)
        for number, fibre in enumerate(scene.fibres):
            assert abs(fibre.cladding_diameter_um - 125.0) < 0.7
            offset = math.hypot(*fibre.core_offset_um)
            if fibre.kind is FibreKind.SINGLE_MODE:
                assert 8.2 <= fibre.core_diameter_um <= 9.2
                assert offset <= 0.6
            else:
                nominal = 50.0 if fibre.kind is FibreKind.MULTIMODE_50 else 62.5
                assert abs(fibre.core_diameter_um - nominal) <= 2.5
                assert offset <= 2.0
            if number:
                assert math.hypot(*fibre.centre_um) / 250 == pytest.approx(
                    round(math.hypot(*fibre.centre_um) / 250), abs=0.01
                )


def test_the_whole_space_is_met() -> None:
    cases = [random_case(seed) for seed in range(300)]
    assert {(o.width_px, o.height_px) for _, o in cases} == set(FORMATS)
    assert {s.fibres[0].kind for s, _ in cases} == set(FibreKind)
    assert {s.ferrule_level > s.cladding_level for s, _ in cases} == {True, False}
    assert {o.colour is None for _, o in cases} == {True, False}
    assert {o.jpeg_quality is None for _, o in cases} == {True, False}
    assert {len(s.fibres) > 1 for s, _ in cases} == {True, False}
    causes = {feature.cause for s, _ in cases for feature in s.features}
    assert causes == set(Cause) - {Cause.UNKNOWN}
    assert any(not s.features for s, _ in cases)


@pytest.mark.parametrize("fault", list(Fault))
def test_a_fault_that_is_asked_for_is_the_condition_of_the_picture(fault: Fault) -> None:
    for seed in range(40):
        assert truth_of(*random_case(seed, fault=fault)).condition == fault.value


def test_a_cut_off_multimode_face_sometimes_shows_its_core_whole() -> None:
    whole = 0
    for seed in range(60):
        scene, optics = random_case(seed, fault="cut_off", fibre="multimode_50")
        truth = truth_of(scene, optics)
        assert truth.core_centre_px is not None
        x, y = truth.core_centre_px
        reach = scene.fibres[0].core_diameter_um / 2 / optics.um_per_px
        whole += min(x, y, optics.width_px - 1 - x, optics.height_px - 1 - y) > reach
    assert 5 < whole < 55


@pytest.mark.parametrize(
    ("contents", "causes"),
    [
        ("particles", {Cause.LOOSE_DUST}),
        ("scratches", {Cause.SCRATCH}),
        ("pits", {Cause.PIT_OR_CHIP}),
        ("chips", {Cause.PIT_OR_CHIP}),
        ("oil", {Cause.SKIN_OIL}),
        ("streak", {Cause.SKIN_OIL}),
        ("residue", {Cause.DRIED_RESIDUE}),
        ("adhesive", {Cause.ADHESIVE}),
        ("film", {Cause.FILM}),
        ("clean", set()),
    ],
)
def test_contents_that_are_asked_for_are_all_that_is_there(contents: str, causes: set[Cause]) -> None:
    for seed in range(8):
        scene, optics = random_case(seed, contents=contents)
        assert {one.cause for one in scene.features} == causes
        for one in truth_of(scene, optics).features:
            assert (one.form is Form.SCRATCH) == (one.cause is Cause.SCRATCH)
            assert 0 <= one.inner_um <= one.outer_um
            assert one.size_um >= one.width_um - 0.01


def test_choices_are_held_fast() -> None:
    scene, optics = random_case(
        3,
        fibre="multimode_62_5",
        ferrule_brighter=False,
        size_px=(1280, 720),
        um_per_px=0.3,
        colour=True,
        array=False,
    )
    assert scene.fibres[0].kind is FibreKind.MULTIMODE_62_5
    assert scene.cladding_level > scene.ferrule_level
    assert (optics.width_px, optics.height_px, optics.um_per_px) == (1280, 720, 0.3)
    assert optics.colour is not None


def test_edge_chips_bite_into_the_cladding_and_adhesive_lies_on_both_sides_of_its_edge() -> None:
    for seed in range(10):
        for contents in (Contents.CHIPS, Contents.ADHESIVE):
            scene, optics = random_case(seed, contents=contents)
            radius = scene.fibres[0].cladding_diameter_um / 2
            for one in truth_of(replace(scene, axis_ratio=1.0), optics).features:
                assert one.inner_um < radius - 0.5
                assert one.outer_um > radius


@pytest.mark.parametrize("fault", ["black", "burnt_out"])
def test_black_and_burnt_out_pictures_look_it(fault: str) -> None:
    for seed in range(3):
        scene, optics = random_case(seed, fault=fault, size_px=(640, 480), contents="clean", colour=False)
        pixels = render(scene, optics, seed).pixels
        assert np.median(pixels) < 16 if fault == "black" else np.mean(pixels >= 250) > 0.03
