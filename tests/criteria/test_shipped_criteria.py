"""The shipped tables against IEC 61300-3-35:2015.

The expected values were taken from one reproduction of the 2015 edition; its table for 26 dB is from memory
(weak). They are written out here a second time, in another form than in the files, and not read from them.
"""

import pytest
from hand_made_readings import feature, features, reading

from workstation.criteria import DEFAULT_ID, Criteria, Fibre, Known, available, judge, load_criteria
from workstation.values import Form, Outcome

PC_45, APC, MM, PC_26 = (
    "iec-61300-3-35-2015-sm-pc-45",
    "iec-61300-3-35-2015-sm-apc",
    "iec-61300-3-35-2015-mm-pc",
    "iec-61300-3-35-2015-sm-pc-26",
)

# IEC 61300-3-35:2015 zones, as reproduced: outer diameters in µm of A to D.
ZONES = {
    PC_45: (25, 115, 135, 250),
    APC: (25, 115, 135, 250),
    MM: (65, 115, 135, 250),
    PC_26: (25, 115, 135, 250),
}

# A distance from the centre in µm well inside each zone.
INSIDE = {PC_45: (5, 30, 60, 100), APC: (5, 30, 60, 100), MM: (5, 40, 60, 100), PC_26: (5, 30, 60, 100)}

S, D, ANY = Form.SCRATCH, Form.DEFECT, 30
# IEC 61300-3-35:2015, as reproduced (sm-pc-26: from memory, weak):
# table, form, zone, size in µm, how many are allowed.
LIMITS = [
    (PC_45, S, "A", 0.5, 0),
    (PC_45, D, "A", 0.5, 0),
    (PC_45, S, "B", 3.0, ANY),
    (PC_45, S, "B", 3.01, 0),
    (PC_45, D, "B", 1.99, ANY),
    (PC_45, D, "B", 2.0, 5),
    (PC_45, D, "B", 5.0, 5),
    (PC_45, D, "B", 5.01, 0),
    (PC_45, S, "C", 50.0, ANY),
    (PC_45, D, "C", 50.0, ANY),
    (PC_45, S, "D", 50.0, ANY),
    (PC_45, D, "D", 10.0, ANY),  # the reproduction; from memory the standard has none of exactly 10 µm
    (PC_45, D, "D", 10.01, 0),
    (APC, S, "A", 3.0, 4),
    (APC, S, "A", 3.01, 0),
    (APC, D, "A", 0.5, 0),
    (APC, S, "B", 50.0, ANY),
    (APC, D, "B", 1.99, ANY),
    (APC, D, "B", 2.0, 5),
    (APC, D, "B", 5.0, 5),
    (APC, D, "B", 5.01, 0),
    (APC, S, "C", 50.0, ANY),
    (APC, D, "C", 50.0, ANY),
    (APC, S, "D", 50.0, ANY),
    (APC, D, "D", 10.01, 0),
    (MM, S, "A", 3.0, ANY),
    (MM, S, "A", 3.01, 0),
    (MM, D, "A", 0.5, 4),
    (MM, D, "A", 5.0, 4),
    (MM, D, "A", 5.01, 0),
    (MM, S, "B", 5.0, ANY),
    (MM, S, "B", 5.01, 0),
    (MM, D, "B", 4.99, ANY),
    (MM, D, "B", 5.0, 5),
    (MM, D, "B", 10.0, 5),
    (MM, D, "B", 10.01, 0),
    (MM, S, "C", 50.0, ANY),
    (MM, D, "C", 50.0, ANY),
    (MM, S, "D", 50.0, ANY),
    (MM, D, "D", 19.99, ANY),
    (MM, D, "D", 20.0, 5),
    (MM, D, "D", 30.0, 5),
    (MM, D, "D", 30.01, 0),
    (PC_26, S, "A", 3.0, 2),
    (PC_26, S, "A", 3.01, 0),
    (PC_26, D, "A", 3.0, 2),
    (PC_26, D, "A", 3.01, 0),
    (PC_26, S, "B", 3.0, ANY),
    (PC_26, S, "B", 3.01, 3),
    (PC_26, D, "B", 1.99, ANY),
    (PC_26, D, "B", 2.0, 5),
    (PC_26, D, "B", 5.01, 0),
    (PC_26, S, "C", 50.0, ANY),
    (PC_26, D, "C", 50.0, ANY),
    (PC_26, S, "D", 50.0, ANY),
    (PC_26, D, "D", 9.99, ANY),
    (PC_26, D, "D", 10.0, 0),
]


@pytest.fixture(params=list(ZONES))
def shipped(request: pytest.FixtureRequest) -> Criteria:
    return load_criteria(request.param)


def test_four_tables_ship_and_the_default_stands_first() -> None:
    assert [ref.id for ref in available()] == [DEFAULT_ID, MM, APC, PC_26]
    assert load_criteria().id == PC_45


def test_zone_diameters_are_the_published_ones(shipped: Criteria) -> None:
    outer = [zone.outer_um for zone in shipped.zones]
    inner = [zone.inner_um for zone in shipped.zones]
    assert "".join(zone.letter for zone in shipped.zones) == "ABCD"
    assert tuple(outer) == ZONES[shipped.id]
    assert inner == [0, *outer[:-1]]
    assert [zone.wholly_in_view for zone in shipped.zones] == [True, True, True, False]


@pytest.mark.parametrize(("id_", "form", "zone", "size_um", "allowed"), LIMITS)
def test_each_cell_allows_what_was_published_and_not_one_more(
    id_: str, form: Form, zone: str, size_um: float, allowed: int
) -> None:
    criteria = load_criteria(id_)
    at = INSIDE[id_]["ABCD".index(zone)]
    kept = judge(reading(*features([size_um] * allowed, at, form=form)), criteria)
    assert kept.outcome is Outcome.PASS
    if allowed < ANY:
        verdict = judge(reading(*features([size_um] * (allowed + 1), at, form=form)), criteria)
        assert verdict.outcome is Outcome.FAIL
        assert [result.zone for result in verdict.zones if result.broken] == [zone]
        assert all(placed.zone == zone and placed.counted and placed.breaks for placed in verdict.placed)


def test_only_the_table_from_memory_is_unverified(shipped: Criteria) -> None:
    assert shipped.unverified == (shipped.id == PC_26)
    assert shipped.ref.unverified == shipped.unverified
    known = {rule.known for zone in shipped.zones for rule in zone.rules}
    assert known == {Known.WEAK_MEMORY if shipped.id == PC_26 else Known.REPRODUCTION}
    assert "memory" in shipped.provenance


def test_an_unverified_table_says_so_in_its_verdict() -> None:
    verdict = judge(reading(feature(4.0, 5.0)), load_criteria(PC_26))
    assert verdict.criteria.unverified
    assert "Unverified" in verdict.reasons[0]
    assert "from memory" in verdict.reasons[1]


def test_fibre_kind_and_mode_field_are_those_of_the_published_fibres(shipped: Criteria) -> None:
    # ITU-T G.652.D: mode field 8.6 to 9.2 µm at 1310 nm; IEC 60793-2-10: 50 µm core. Both from memory.
    if shipped.fibre is Fibre.SINGLE_MODE:
        assert 8.6 <= shipped.mode_field_diameter_um <= 9.2
    else:
        assert shipped.mode_field_diameter_um == 50.0
