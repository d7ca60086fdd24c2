"""What the window calls the values that the rooms below hand it, in plain words."""

from datetime import datetime

from workstation.values import Cause, Form, Look, Outcome, ScaleSource

OUTCOME = {
    Outcome.PASS: "Pass",
    Outcome.FAIL: "Fail",
    Outcome.BORDERLINE: "Borderline",
    Outcome.UNREADABLE: "Unreadable",
}
OUTCOME_MEANS = {
    Outcome.PASS: "No rule of the criteria is broken by what this picture shows.",
    Outcome.FAIL: "At least one rule of the criteria is broken.",
    Outcome.BORDERLINE: "A size lies so close to a limit that a person must decide.",
    Outcome.UNREADABLE: "This picture cannot be judged. Nothing is said about the face.",
}
CAUSE = {
    Cause.LOOSE_DUST: "loose dust",
    Cause.SKIN_OIL: "skin oil",
    Cause.DRIED_RESIDUE: "dried residue",
    Cause.ADHESIVE: "adhesive",
    Cause.PIT_OR_CHIP: "pit or chip",
    Cause.SCRATCH: "scratch",
    Cause.FILM: "film",
    Cause.UNKNOWN: "not known",
}
FORM = {Form.SCRATCH: "scratch", Form.DEFECT: "defect"}
SCALE_SOURCE = {
    ScaleSource.CLADDING: "from the cladding",
    ScaleSource.GIVEN: "as given",
    ScaleSource.CALIBRATION: "from a calibration",
}
WORTH_OF_THE_VERDICT = "The published standard rules. A visual inspection does not replace loss measurements."
UNVERIFIED_NOTE = "Some of these limits were not checked against the published document."


def local_time(moment: datetime, pattern: str = "%H:%M:%S") -> str:
    """Write a moment kept in UTC as local time."""
    return moment.astimezone().strftime(pattern)


def look_title(look: Look) -> str:
    """Name a look: port and which look it is."""
    return f"{look.port.label}, look {look.number}"


def next_port_label(label: str) -> str:
    """Propose the label that follows: the last run of digits counts up and keeps its width.

    A label without digits gets ``-02``; an empty one becomes ``PORT-01``.

    Examples
    --------
    >>> next_port_label("PORT-01"), next_port_label("R7/U09/A"), next_port_label("left"), next_port_label("")
    ('PORT-02', 'R7/U10/A', 'left-02', 'PORT-01')
    """
    if not label.strip():
        return "PORT-01"
    end = len(label)
    while end > 0 and label[end - 1] not in "0123456789":
        end -= 1
    begin = end
    while begin > 0 and label[begin - 1] in "0123456789":
        begin -= 1
    if begin == end:
        return f"{label}-02"
    digits = label[begin:end]
    return f"{label[:begin]}{int(digits) + 1:0{len(digits)}d}{label[end:]}"
