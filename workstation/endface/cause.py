"""A guess at where a feature comes from, with a confidence; never an input to the verdict.

Rules on form, place, depth and edge, each a trade fact marked common practice, no source: rings are dried residue;
black patches over the cladding edge are adhesive left from polishing; large faint areas are films; soft-edged round
spots are skin oil; what bites into the cladding at its edge is a chip.
"""

from workstation.endface.features import Shape
from workstation.values import Cause, Form

_CLADDING_UM = 62.5


def guess_cause(shape: Shape) -> tuple[Cause, float]:
    """Guess the cause of a feature.

    Parameters
    ----------
    shape
        The feature.

    Returns
    -------
    tuple of Cause and float
        The guess, and how sure it is, 0 to 1.
    """
    if shape.form is Form.SCRATCH:
        return Cause.SCRATCH, 0.9
    if shape.filled < 0.75 and shape.size_um > 5.0:
        return Cause.DRIED_RESIDUE, 0.8
    faint = abs(shape.contrast) < 0.12
    if faint and shape.size_um > 20.0:
        return Cause.FILM, 0.6
    at_edge = shape.inner_um < _CLADDING_UM + 0.5 and shape.outer_um > _CLADDING_UM - 0.5
    if at_edge and shape.sign < 0:
        if shape.outer_um > _CLADDING_UM + 2.0 and shape.size_um > 6.0:
            return Cause.ADHESIVE, 0.6
        return Cause.PIT_OR_CHIP, 0.5
    if faint or (abs(shape.contrast) < 0.25 and shape.size_um > 6.0):
        return Cause.SKIN_OIL, 0.45
    if (
        shape.sign < 0
        and shape.width_um > 0
        and shape.length_um / shape.width_um < 1.35
        and shape.size_um < 8.0
    ):
        return Cause.PIT_OR_CHIP, 0.35
    if shape.sign < 0:
        return Cause.LOOSE_DUST, 0.55
    return Cause.UNKNOWN, 0.3
