"""Acceptance criteria: tables as data, and what they say of a reading.

The published standard rules; the files here repeat it, each number with its provenance. Visual inspection
doesn't replace measurements of loss and return loss.
"""

from workstation.criteria.errors import CriteriaError
from workstation.criteria.files import DEFAULT_ID, available, load_criteria
from workstation.criteria.judging import judge
from workstation.criteria.table import Criteria, Fibre, Known, Rule, SizeRange, Zone

__all__ = [
    "DEFAULT_ID",
    "Criteria",
    "CriteriaError",
    "Fibre",
    "Known",
    "Rule",
    "SizeRange",
    "Zone",
    "available",
    "judge",
    "load_criteria",
]
