"""Readings made by hand, judged: zones, counts, borders, what can't be judged, and what is said about it."""

from itertools import product
from math import pi

import numpy as np
import pytest
from hand_made_readings import CHECK_UNMET, feature, features, reading
from hypothesis import given, settings
from hypothesis import strategies as st

from workstation.criteria import Criteria, available, judge, load_criteria
from workstation.criteria.view import seen_fraction
from workstation.values import Cause, CoreKind, Feature, Form, NoFit, NoFitReason, Outcome, Reading, Verdict

CRITERIA = [load_criteria(ref.id) for ref in available()]
PC_45 = load_criteria()
SEVERITY = {Outcome.PASS: 0, Outcome.BORDERLINE: 1, Outcome.FAIL: 2}


# Zones


@pytest.mark.parametrize(
    ("at_um", "zone"),
    [(0, "A"), (12.5, "A"), (12.51, "B"), (57.5, "B"), (57.51, "C"), (67.51, "D"), (125, "D"), (125.01, "")],
)
def test_the_zone_follows_from_the_innermost_point_and_a_touch_counts_inward(at_um: float, zone: str) -> None:
    verdict = judge(reading(feature(1.0, at_um)), PC_45)
    assert verdict.placed[0].zone == zone


def test_a_feature_over_the_border_of_a_zone_counts_in_the_inner_one() -> None:
    verdict = judge(reading(feature(20.0, 57.0)), PC_45)  # reaches from B far into D
    assert (verdict.placed[0].zone, verdict.outcome) == ("B", Outcome.FAIL)


def test_what_lies_outside_every_zone_is_named_and_not_graded() -> None:
    verdict = judge(reading(feature(60.0, 126.0)), PC_45)
    assert verdict.outcome is Outcome.PASS
    assert not verdict.placed[0].counted
    assert "Feature 1 outside zone D" in verdict.reasons[0]


def test_zones_count_scratches_and_defects_apart() -> None:
    found = (*features([1.0, 1.0], 30.0), feature(2.0, 30.0, id_=3, form=Form.SCRATCH))
    zone_b = judge(reading(*found), PC_45).zones[1]
    assert (zone_b.zone, zone_b.defects, zone_b.scratches, zone_b.broken) == ("B", 2, 1, ())


# Reasons


def test_a_failing_face_names_zone_rule_count_and_features() -> None:
    verdict = judge(reading(*features([3.0] * 7, 30.0)), PC_45)
    expected = "Zone B: 7 defects from 2 to 5 µm (features 1, 2, 3, 4, 5, 6 and 7), at most 5 allowed."
    assert verdict.reasons == (expected,)
    assert verdict.zones[1].broken == ("at most 5 defects from 2 to 5 µm: 7 found",)


def test_a_passing_face_says_which_limits_were_kept() -> None:
    assert judge(reading(), PC_45).reasons == (
        "Zones A to D keep the limits of Single-mode PC, return loss 45 dB or more.",
    )


def test_a_sentence_about_hundreds_of_features_stays_short() -> None:
    reason = judge(reading(*features([3.0] * 300, 30.0)), PC_45).reasons[0]
    assert "and 280 more" in reason
    assert len(reason) < 200


@pytest.mark.parametrize(
    ("kind", "diameter", "criteria_id", "remark"),
    [
        (CoreKind.MULTIMODE_50, 50.0, "sm-pc-45", "as in multimode fibre"),
        (CoreKind.MULTIMODE_62_5, 62.5, "sm-apc", "as in multimode fibre"),
        (CoreKind.SINGLE_MODE, 8.6, "mm-pc", "as in single-mode fibre"),
        (CoreKind.UNKNOWN, 30.0, "mm-pc", ""),
        (CoreKind.MULTIMODE_50, 50.0, "mm-pc", ""),
    ],
)
def test_a_core_of_another_kind_is_remarked_on_and_decides_nothing(
    kind: CoreKind, diameter: float, criteria_id: str, remark: str
) -> None:
    verdict = judge(reading(core=(kind, diameter)), load_criteria(f"iec-61300-3-35-2015-{criteria_id}"))
    assert verdict.outcome is Outcome.PASS
    assert any(remark in reason for reason in verdict.reasons) if remark else len(verdict.reasons) == 1


# The errors of sizes and places


def test_a_size_within_its_error_of_a_limit_is_borderline() -> None:
    verdict = judge(reading(feature(4.9, 30.0, error_um=0.1)), PC_45)
    assert verdict.outcome is Outcome.BORDERLINE
    assert "feature 1 measures 4.90 ± 0.20 µm" in verdict.reasons[0]
    assert "“no defects above 5 µm”" in verdict.reasons[0]


def test_a_size_farther_than_its_error_from_a_limit_decides() -> None:
    assert judge(reading(feature(4.8, 30.0, error_um=0.1)), PC_45).outcome is Outcome.PASS
    assert judge(reading(feature(5.2, 30.0, error_um=0.1)), PC_45).outcome is Outcome.FAIL


def test_a_border_that_changes_nothing_is_not_borderline() -> None:
    """Five features near 2 µm are allowed on either side of it; a sixth is not."""
    near = features([2.0] * 5, 30.0, error_um=0.1)
    assert judge(reading(*near), PC_45).outcome is Outcome.PASS
    near = features([2.0] * 6, 30.0, error_um=0.1)
    assert judge(reading(*near), PC_45).outcome is Outcome.BORDERLINE


def test_a_certain_break_fails_whatever_else_is_in_doubt() -> None:
    found = (feature(1.0, 5.0, error_um=0.1), feature(4.9, 30.0, id_=2, error_um=0.1))
    assert judge(reading(*found), PC_45).outcome is Outcome.FAIL


def test_a_feature_within_its_error_of_a_zone_is_borderline() -> None:
    assert judge(reading(feature(1.5, 12.55, error_um=0.2)), PC_45).outcome is Outcome.BORDERLINE
    assert "begins 12.6 ± 0.2 µm from the centre" in " ".join(
        judge(reading(feature(1.5, 12.55, error_um=0.2)), PC_45).reasons
    )
    assert judge(reading(feature(1.5, 12.9, error_um=0.2)), PC_45).outcome is Outcome.PASS


def test_strict_acceptance_lets_a_borderline_face_fail() -> None:
    found = reading(feature(4.9, 30.0, error_um=0.1))
    assert judge(found, PC_45, strict=True).outcome is Outcome.FAIL


def _by_trying_every_way(found: tuple[Feature, ...], size_steps: int = 41) -> Outcome:
    """Judge by brute force: every feature at many sizes of its 95 % interval, each judged as if exact."""
    outcomes = set()
    ranges = []
    for one in found:
        spread = 1.96 * one.size_error_um
        sizes = np.linspace(max(0.0, one.size_um - spread), one.size_um + spread, size_steps)
        kinds = {}  # sizes that fall under the same rule of zone B are the same for this purpose
        for size in sizes:
            kinds.setdefault((size >= 2, size > 5), float(size))
        ranges.append(tuple(kinds.values()))
    for sizes in product(*ranges):
        exact = tuple(feature(size, 30.0, id_=i) for i, size in enumerate(sizes, start=1))
        outcomes.add(judge(reading(*exact), PC_45).outcome)
    return outcomes.pop() if len(outcomes) == 1 else Outcome.BORDERLINE


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0.5, 6.0), st.floats(0.0, 2.0)), max_size=7))
def test_the_outcome_with_errors_is_what_trying_every_way_gives(sizes: list[tuple[float, float]]) -> None:
    found = tuple(feature(s, 30.0, error_um=e, id_=i) for i, (s, e) in enumerate(sizes, start=1))
    assert judge(reading(*found), PC_45).outcome is _by_trying_every_way(found)


# What can't be judged


def test_no_fit_is_unreadable_with_its_own_words() -> None:
    message = "No fibre was found. Bring one into the picture."
    verdict = judge(reading(no_fit=NoFit(NoFitReason.MISSING, message), checks=()), PC_45)
    assert (verdict.outcome, verdict.reasons, verdict.next_step) == (Outcome.UNREADABLE, (message,), message)
    assert (verdict.zones, verdict.placed) == ((), ())


def test_an_unmet_check_is_unreadable_and_its_advice_is_the_next_step() -> None:
    verdict = judge(reading(checks=(CHECK_UNMET,)), PC_45)
    assert verdict.outcome is Outcome.UNREADABLE
    assert verdict.next_step == CHECK_UNMET.advice
    assert verdict.reasons == ("Not judged: focus: 1.6 µm, limit 1 µm.",)


@pytest.mark.parametrize(("smallest", "narrowest"), [(2.01, 1.0), (1.0, 2.01)])
def test_a_picture_that_could_hide_what_is_asked_about_is_unreadable(
    smallest: float, narrowest: float
) -> None:
    assert judge(reading(smallest_um=2.0, narrowest_um=2.0), PC_45).outcome is Outcome.PASS
    verdict = judge(reading(smallest_um=smallest, narrowest_um=narrowest), PC_45)
    assert verdict.outcome is Outcome.UNREADABLE
    assert "finer view" in verdict.next_step


def test_zones_a_to_c_must_be_wholly_in_view() -> None:
    assert judge(reading(view_um=(-67.5, -67.5, 67.5, 67.5)), PC_45).outcome is Outcome.PASS
    verdict = judge(reading(view_um=(-62.0, -80.0, 80.0, 80.0)), PC_45)
    assert verdict.outcome is Outcome.UNREADABLE
    assert "zones A, B and C in view" in verdict.reasons[0]
    assert "middle" in verdict.next_step


def test_a_part_of_zone_d_is_graded_and_the_first_reason_says_so() -> None:
    verdict = judge(reading(feature(11.0, 70.0), view_um=(-80.0, -80.0, 80.0, 80.0)), PC_45)
    assert verdict.outcome is Outcome.FAIL
    assert verdict.reasons[0].startswith(
        "Zone D: 32 % of it was seen and graded; the rest needs a wider view"
    )


def test_the_whole_contact_zone_can_be_asked_for() -> None:
    narrow = reading(view_um=(-80.0, -80.0, 80.0, 80.0))
    verdict = judge(narrow, PC_45, whole_contact_zone=True)
    assert verdict.outcome is Outcome.UNREADABLE
    assert "wider view" in verdict.next_step
    assert judge(reading(), PC_45, whole_contact_zone=True).outcome is Outcome.PASS


@settings(deadline=None)
@given(
    st.tuples(st.floats(-140, 0), st.floats(-140, 0), st.floats(0, 140), st.floats(0, 140))
    | st.tuples(st.floats(-140, 140), st.floats(-140, 140), st.floats(-140, 140), st.floats(-140, 140))
)
def test_the_seen_part_of_a_zone_agrees_with_counting_points(view: tuple[float, float, float, float]) -> None:
    left, right = sorted(view[::2])
    top, bottom = sorted(view[1::2])
    radius, angle = np.meshgrid(np.sqrt((np.arange(200) + 0.5) / 200), (np.arange(400) + 0.5) * 2 * pi / 400)
    for zone in PC_45.zones:
        inner, outer = zone.inner_um / 2, zone.outer_um / 2
        r = np.sqrt(inner**2 + (outer**2 - inner**2) * radius**2)  # points of equal area over the ring
        x, y = r * np.cos(angle), r * np.sin(angle)
        counted = np.mean((x >= left) & (x <= right) & (y >= top) & (y <= bottom))
        assert seen_fraction(zone, (left, top, right, bottom)) == pytest.approx(counted, abs=0.01)


@pytest.mark.parametrize(
    "broken",
    [
        reading(view_um=None),
        reading(feature(float("nan"), 30.0)),
        reading(feature(-1.0, 30.0)),
    ],
)
def test_a_reading_that_contradicts_itself_is_an_error_and_never_a_pass(broken: Reading) -> None:
    with pytest.raises(ValueError, match=r"reading|Feature 1"):
        judge(broken, PC_45)


# What to do next


def _next(*found: Feature) -> Verdict:
    return judge(reading(*found), PC_45)


def test_dust_is_cleaned_dry_and_oil_wet() -> None:
    dusty, oily = _next(feature(8.0, 30.0)), _next(feature(8.0, 30.0, cause=Cause.SKIN_OIL))
    assert "Clean dry" in dusty.next_step
    assert "Clean wet, then dry" in oily.next_step
    assert "residue" in oily.next_step
    assert dusty.cleaning_may_help
    assert oily.cleaning_may_help


@pytest.mark.parametrize("cause", [Cause.PIT_OR_CHIP, Cause.ADHESIVE])
def test_damage_and_adhesive_are_not_cleaned_but_polished(cause: Cause) -> None:
    verdict = _next(feature(8.0, 30.0, cause=cause))
    assert not verdict.cleaning_may_help
    assert "e-polish" in verdict.next_step


def test_a_scratch_in_zone_a_is_polished() -> None:
    verdict = _next(feature(1.0, 3.0, form=Form.SCRATCH))
    assert not verdict.cleaning_may_help
    assert "A scratch" in verdict.next_step


def test_cleaning_does_not_help_where_damage_alone_breaks_a_rule() -> None:
    verdict = _next(feature(8.0, 30.0), feature(8.0, 30.0, id_=2, cause=Cause.PIT_OR_CHIP))
    assert not verdict.cleaning_may_help


def test_an_unsure_guess_is_cleaned_first_and_then_taken_for_damage() -> None:
    verdict = _next(feature(8.0, 30.0, cause=Cause.PIT_OR_CHIP, confidence=0.3))
    assert verdict.cleaning_may_help
    assert "damage" in verdict.next_step


def test_a_clean_pass_is_ready_and_a_dusty_pass_asks_for_a_clean() -> None:
    assert _next().next_step.startswith("Ready to mate")
    assert not _next().cleaning_may_help
    assert "clean it off first" in _next(feature(1.0, 30.0)).next_step


def test_a_borderline_face_is_for_a_person_to_decide() -> None:
    verdict = _next(feature(4.9, 30.0, error_um=0.1, cause=Cause.PIT_OR_CHIP))
    assert verdict.next_step.startswith("A person decides")


def test_the_cause_never_changes_the_outcome() -> None:
    for size in (1.0, 4.9, 8.0):
        outcomes = {_next(feature(size, 30.0, error_um=0.1, cause=cause)).outcome for cause in Cause}
        assert len(outcomes) == 1


# Properties


@st.composite
def _faces(draw: st.DrawFn) -> tuple[Feature, ...]:
    count = draw(st.integers(0, 9))
    size = st.sampled_from(
        [1.0, 1.95, 2.0, 2.9, 3.0, 3.1, 4.0, 5.0, 5.1, 9.9, 10.0, 20.0, 25.0, 31.0]
    ) | st.floats(0, 40)
    place = st.sampled_from([0.0, 12.4, 12.6, 32.4, 32.6, 57.6, 70.0, 124.9]) | st.floats(0, 130)
    return tuple(
        feature(
            draw(size),
            draw(place),
            id_=i + 1,
            form=draw(st.sampled_from(Form)),
            error_um=draw(st.sampled_from([0.0, 0.1, 1.0])),
        )
        for i in range(count)
    )


@settings(deadline=None)
@given(_faces(), _faces(), st.sampled_from(CRITERIA))
def test_more_features_never_improve_the_outcome(
    some: tuple[Feature, ...], more: tuple[Feature, ...], table: Criteria
) -> None:
    fewer = judge(reading(*some), table).outcome
    assert SEVERITY[judge(reading(*some, *more), table).outcome] >= SEVERITY[fewer]


@settings(deadline=None)
@given(_faces(), st.floats(0, 20), st.sampled_from(CRITERIA), st.data())
def test_a_feature_that_grows_outward_never_improves_the_outcome(
    face: tuple[Feature, ...], by_um: float, table: Criteria, data: st.DataObject
) -> None:
    if not face:
        return
    which = data.draw(st.integers(0, len(face) - 1))
    old = face[which]
    grown = feature(old.width_um + by_um, old.inner_um, form=old.form, error_um=old.size_error_um)
    larger = (*face[:which], grown, *face[which + 1 :])
    before, after = judge(reading(*face), table).outcome, judge(reading(*larger), table).outcome
    assert SEVERITY[after] >= SEVERITY[before]


def test_a_large_defect_that_reaches_from_zone_d_into_c_counts_in_c() -> None:
    """A consequence of the inner zone's rule that a person should know of: zone C has no limit."""
    assert judge(reading(feature(20.0, 68.0)), PC_45).outcome is Outcome.FAIL
    assert judge(reading(feature(20.0, 67.0)), PC_45).outcome is Outcome.PASS


@settings(deadline=None)
@given(_faces(), st.floats(0, 2 * pi), st.sampled_from(CRITERIA))
def test_turning_the_face_leaves_the_verdict(
    face: tuple[Feature, ...], angle: float, table: Criteria
) -> None:
    turned = tuple(
        feature(f.width_um, f.inner_um, id_=f.id, form=f.form, error_um=f.size_error_um, angle_rad=angle)
        for f in face
    )
    assert judge(reading(*turned), table) == judge(reading(*face), table)
