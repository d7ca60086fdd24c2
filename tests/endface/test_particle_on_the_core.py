"""What is dark over the core blocks light: it is found, it is never taken for the core, and the face fails."""

import math
from dataclasses import replace

import pytest
from drawn_faces import SINGLE_MODE, disc, drawn, fitted, multimode, nearest, scene

from workstation.criteria import judge, load_criteria
from workstation.endface import read_face
from workstation.simulator.scene import Fibre
from workstation.values import Fit, Form, Outcome

SINGLE = {"unlit": SINGLE_MODE, "unlit, darker": replace(SINGLE_MODE, core_step=-0.03),
          "lit": replace(SINGLE_MODE, core_step=0.3), "brightly lit": replace(SINGLE_MODE, core_step=0.6),
          "no step": replace(SINGLE_MODE, core_step=0.0)}  # fmt: skip
MULTI = {"50, unlit": multimode(50.0, 0.04), "50, lit": multimode(50.0, 0.4),
         "62.5, unlit": multimode(62.5, 0.04), "62.5, lit": multimode(62.5, 0.4)}  # fmt: skip
CRITERIA = {True: "iec-61300-3-35-2015-mm-pc", False: "iec-61300-3-35-2015-sm-pc-45"}
BOTH = pytest.mark.parametrize("bright", [False, True], ids=["ferrule brighter", "cladding brighter"])


FIBRES = pytest.mark.parametrize("fibre", (SINGLE | MULTI).values(), ids=(SINGLE | MULTI).keys())


@BOTH
@FIBRES
def test_an_opaque_particle_on_the_core_is_found_is_no_core_and_fails_the_face(
    fibre: Fibre, bright: bool
) -> None:
    check(fibre, 5.0, (0.0, 0.0), -0.95, bright=bright)


@pytest.mark.slow
@FIBRES
@pytest.mark.parametrize(
    ("diameter_um", "at", "contrast"),
    [(5.0, (1.5, -1.0), -0.5), (9.0, (0.0, 0.0), -0.95), (3.0, (0.5, 0.5), -0.6)],
)
def test_so_is_a_fainter_a_smaller_and_a_core_wide_one(
    fibre: Fibre, diameter_um: float, at: tuple[float, float], contrast: float
) -> None:
    check(fibre, diameter_um, at, contrast, bright=False)


def check(
    fibre: Fibre, diameter_um: float, at: tuple[float, float], contrast: float, *, bright: bool
) -> None:
    particle = disc(at, diameter_um, contrast)
    reading = read_face(drawn(scene(fibre, particle, bright=bright), exposure=150.0).pixels)
    assert isinstance(reading.fit, Fit)

    found = nearest(tuple(one for one in reading.features if one.contrast < 0), at)
    assert found is not None, "not found"
    assert found.form is Form.DEFECT
    # where it covers a lit core wholly, only the cladding is left to compare it with
    assert found.contrast < 0.5 * ((1 + contrast) * (1 + max(fibre.core_step, 0.0)) - 1)
    assert found.size_um == pytest.approx(diameter_um, rel=0.15)
    assert found.inner_um < 1.0

    several = fibre.core_diameter_um > 20
    verdict = judge(reading, load_criteria(CRITERIA[several]))
    if several and diameter_um <= 5.0:
        # multimode faces are allowed a few small ones: this one must be counted against their number
        placed = {one.feature_id: one for one in verdict.placed}
        assert placed[found.id].zone == "A"
        assert placed[found.id].counted
    else:
        assert verdict.outcome is Outcome.FAIL, verdict.reasons

    assert reading.occlusion is not None
    if at == (0.0, 0.0) and not several:
        # covered power of a Gaussian mode by a centred disc: 1 - exp(-2 a²/w²) (Marcuse 1977, from memory)
        covered = 1 - math.exp(-2 * (diameter_um / 2) ** 2 / (9.2 / 2) ** 2)
        assert reading.occlusion.weighted_fraction == pytest.approx(covered, rel=0.2)

    core = reading.fit.core
    # the true core may still show around it; a deep dark disc is none
    assert core is None or core.step > -0.1


@pytest.mark.slow
@BOTH
@FIBRES
def test_a_particle_on_the_core_does_not_make_it_another_kind_of_fibre(fibre: Fibre, bright: bool) -> None:
    """A wrong kind would set a wrong reason beside the verdict."""
    picture = drawn(scene(fibre, disc((0.0, 0.0), 5.0, -0.95), bright=bright), exposure=150.0)
    core = fitted(picture.pixels).core
    if core is not None:
        assert core.kind.value == fibre.kind.value
        assert core.diameter_um == pytest.approx(fibre.core_diameter_um, abs=2.5)


@pytest.mark.parametrize("step", [0.15, 0.3, 0.6])
def test_a_lit_core_that_shows_around_a_particle_is_no_bright_defect(step: float) -> None:
    face = scene(replace(SINGLE_MODE, core_step=step), disc((0.0, 0.0), 5.0, -0.95))
    reading = read_face(drawn(face, exposure=150.0).pixels)
    assert [one.contrast for one in reading.features if one.contrast > 0] == []


@BOTH
@pytest.mark.parametrize("fibre", SINGLE.values(), ids=SINGLE.keys())
def test_the_core_itself_is_no_particle(fibre: Fibre, bright: bool) -> None:
    reading = read_face(drawn(scene(fibre, bright=bright), exposure=150.0).pixels)
    assert reading.readiness.ok
    assert reading.features == ()
    assert judge(reading, load_criteria(CRITERIA[False])).outcome is Outcome.PASS
    assert reading.occlusion is not None
    assert reading.occlusion.weighted_fraction == 0.0
