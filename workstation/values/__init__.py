"""Plain frozen values that pass between the rooms; units stand in the names of the fields.

Pixels: x right, y down, the centre of the top-left pixel is (0, 0). Micrometres: x right, y down, the origin at
the centre of the cladding. Nothing here computes more than a change of unit.
"""

from workstation.values.fit import Core, CoreKind, Fit, NoFit, NoFitReason, Polarity, ScaleSource
from workstation.values.frame import Frame
from workstation.values.look import Look, Port, Session
from workstation.values.reading import Cause, Check, Feature, Form, Occlusion, Readiness, Reading
from workstation.values.verdict import CriteriaRef, Outcome, Placed, Verdict, ZoneResult

__all__ = [
    "Cause",
    "Check",
    "Core",
    "CoreKind",
    "CriteriaRef",
    "Feature",
    "Fit",
    "Form",
    "Frame",
    "Look",
    "NoFit",
    "NoFitReason",
    "Occlusion",
    "Outcome",
    "Placed",
    "Polarity",
    "Port",
    "Readiness",
    "Reading",
    "ScaleSource",
    "Session",
    "Verdict",
    "ZoneResult",
]
