"""What is dark over the core blocks light: it is found, it is never taken for the core, and the face fails."""

import math
from dataclasses import replace

import pytest
from drawn_faces import SINGLE_MODE, disc, drawn, multimode, nearest, scene

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


@BOTH
@pytest.mark.parametrize("contrast", [-0.95, -0.5])
@pytest.mark.parametrize(("diameter_um", "at"), [(5.0, (0.0, 0.0)), (5.0, (1.5, -1.0)), (9.0, (0.0, 0.0)), (3.0, (0.5, 0.5))])
@pytest.mark.parametrize("fibre", (SINGLE | MULTI).values(), ids=(SINGLE | MULTI).keys())
def test_a_dark_particle_on_the_core_is_found_is_no_core_and_fails_the_face(
    fibre: Fibre, diameter_um: float, at: tuple[float, float], contrast: float, bright: bool
) -> None:
    particle = disc(at, diameter_um, contrast)
    reading = read_face(drawn(scene(fibre, particle, bright=bright), exposure=150.0).pixels)
    assert isinstance(reading.fit, Fit)

    found = nearest(reading.features, at)
    assert found is not None, "not found"
    assert found.form is Form.DEFECT
    assert found.contrast < 0.5 * contrast
    assert found.size_um == pytest.approx(diameter_um, abs=3 * found.size_error_um)
    assert found.inner_um < 1.5

    core = reading.fit.core
    if core is not None:
        # the true core may still show around it; a deep dark disc is none
        assert core.step > 0.5 * contrast + 0.1
        assert core.diameter_um == pytest.approx(fibre.core_diameter_um, rel=0.12)

    several = fibre.core_diameter_um > 20
    verdict = judge(reading, load_criteria(CRITERIA[several]))
    if several and diameter_um <= 5.0:
        # multimode faces are allowed a few small ones; this one must count, and nothing worse be said of it
        assert any(one.feature_id == found.id and one.zone == "A" for one in verdict.placed)
    else:
        assert verdict.outcome is Outcome.FAIL, verdict.reasons

    assert reading.occlusion is not None
    if at == (0.0, 0.0):
        # covered power of a Gaussian mode by a centred disc: 1 - exp(-2 a²/w²) (Marcuse 1977, from memory)
        covered = 1 - math.exp(-2 * (diameter_um / 2) ** 2 / (9.2 / 2) ** 2)
        off = math.hypot(*fibre.core_offset_um)
        assert reading.occlusion.weighted_fraction == pytest.approx(covered, rel=0.2 + 0.1 * off)


@BOTH
@pytest.mark.parametrize("fibre", SINGLE.values(), ids=SINGLE.keys())
def test_the_core_itself_is_no_particle(fibre: Fibre, bright: bool) -> None:
    reading = read_face(drawn(scene(fibre, bright=bright), exposure=150.0).pixels)
    assert reading.readiness.ok
    assert reading.features == ()
    assert judge(reading, load_criteria(CRITERIA[False])).outcome is Outcome.PASS
    assert reading.occlusion is not None
    assert reading.occlusion.weighted_fraction == 0.0
