"""What a criteria file must say: each field's type and range, then how zones and sizes fit together."""

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from workstation.criteria.errors import CriteriaError
from workstation.criteria.table import Criteria, Fibre, Known, Rule, SizeRange, Zone
from workstation.criteria.yaml_lines import Lines
from workstation.values import Form

Path = tuple[str | int, ...]

_POSITIVE = "a number of micrometres above 0"
_BOUND = "a size of 0 µm or more"
_WORDS = "some words"
_KNOWN = "one of " + ", ".join(f"“{known.value}”" for known in Known)
_RULES = "a list of rules, as in: - { from: 0, to: 5, at_most: 3, known: own choice }"
EXPECTED = {
    "format": "the number 1",
    "id": "a short name of small letters, digits, dots and dashes",
    "title": _WORDS,
    "source": "the document and table that the limits come from, in words",
    "provenance": "in words, how the values were obtained",
    "fibre": "“single-mode” or “multimode”",
    "mode_field_diameter_um": _POSITIVE,
    "smallest_asked_um": _POSITIVE,
    "narrowest_scratch_asked_um": _POSITIVE,
    "zones": "a list of zones from the centre outward",
    "letter": "one capital letter",
    "inner_um": "a diameter of 0 µm or more",
    "outer_um": "a diameter above 0 µm",
    "wholly_in_view": "true or false",
    "known": _KNOWN,
    "scratches": _RULES,
    "defects": _RULES,
    "from": _BOUND,
    "above": _BOUND,
    "to": _BOUND,
    "below": _BOUND,
    "at_most": "a whole number of 0 or more, or the words “no limit”",
    "note": _WORDS,
}

_Words = Annotated[str, Field(min_length=1, max_length=2000)]
_Positive = Annotated[float, Field(gt=0, le=10_000)]
_Size = Annotated[float, Field(ge=0, le=10_000)]


def _from_word(kind: type[Known] | type[Fibre]) -> BeforeValidator:
    return BeforeValidator(lambda value: kind(value) if isinstance(value, str) else value)


_KnownWord = Annotated[Known, _from_word(Known)]
_FibreWord = Annotated[Fibre, _from_word(Fibre)]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class _Rule(_Model):
    from_: _Size | None = Field(None, alias="from")
    above: _Size | None = None
    to: _Size | None = None
    below: _Size | None = None
    at_most: Annotated[int, Field(ge=0, le=10_000)] | Literal["no limit"]
    known: _KnownWord
    note: _Words = "-"

    def value(self, form: Form) -> Rule:
        """Return the rule; its bounds were checked."""
        low = self.above if self.above is not None else self.from_ or 0.0
        high = self.to if self.to is not None else self.below
        sizes = SizeRange(
            float(low), None if high is None else float(high), self.above is None, self.to is not None
        )
        at_most = None if self.at_most == "no limit" else int(self.at_most)
        return Rule(form, sizes, at_most, self.known, "" if self.note == "-" else str(self.note))


class _Zone(_Model):
    letter: Annotated[str, Field(pattern="^[A-Z]$")]
    inner_um: _Size
    outer_um: _Positive
    wholly_in_view: bool
    known: _KnownWord
    scratches: Annotated[list[_Rule], Field(min_length=1, max_length=50)]
    defects: Annotated[list[_Rule], Field(min_length=1, max_length=50)]

    def value(self) -> Zone:
        """Return the zone."""
        rules = [rule.value(Form.SCRATCH) for rule in self.scratches]
        rules += [rule.value(Form.DEFECT) for rule in self.defects]
        return Zone(
            self.letter,
            float(self.inner_um),
            float(self.outer_um),
            self.wholly_in_view,
            self.known,
            tuple(rules),
        )


class _File(_Model):
    format: Literal[1]
    id: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9.-]*$", max_length=100)]
    title: _Words
    source: _Words
    provenance: _Words
    fibre: _FibreWord
    mode_field_diameter_um: _Positive
    smallest_asked_um: _Positive
    narrowest_scratch_asked_um: _Positive
    zones: Annotated[list[_Zone], Field(min_length=1, max_length=26)]

    def value(self) -> Criteria:
        """Return the table."""
        return Criteria(
            str(self.id),
            str(self.title),
            str(self.source),
            str(self.provenance).strip(),
            self.fibre,
            float(self.mode_field_diameter_um),
            float(self.smallest_asked_um),
            float(self.narrowest_scratch_asked_um),
            tuple(zone.value() for zone in self.zones),
        )


def check(document: tuple[Any, Lines], name: str) -> Criteria:
    """Turn a file's content into criteria.

    Parameters
    ----------
    document
        The content, and the lines that its entries stand on.
    name
        The file's name, for messages.

    Returns
    -------
    Criteria
        The table.

    Raises
    ------
    CriteriaError
        Something is wrong; the message has one line an error, in the file's order.
    """
    data, lines = document
    try:
        file = _File.model_validate(data)
    except ValidationError as error:
        problems = dict(_field_problem(data, detail["loc"], detail["type"]) for detail in error.errors())
    else:
        problems = dict(_misfits(file))
    if problems:
        places = sorted((lines.of(path), _field(path), text) for path, text in problems.items())
        raise CriteriaError(
            "\n".join(f"{name}, line {line}, {field or 'the file'}: {text}" for line, field, text in places)
        )
    return file.value()


def _field_problem(data: Any, loc: tuple[str | int, ...], kind: str) -> tuple[Path, str]:
    """Say in plain words what pydantic found wrong at one place."""
    path, here = [], data
    for step in loc:  # pydantic appends names of its own for the branches of a union
        known = isinstance(step, int) or step in EXPECTED or (isinstance(here, dict) and step in here)
        if not known:
            break
        path.append(step)
        here = here[step] if _holds(here, step) else None
    names = [step for step in path if isinstance(step, str)]
    last = names[-1] if names else ""
    if kind == "extra_forbidden":
        return tuple(path), "this field isn't known. Check its spelling, or remove it."
    expected = EXPECTED.get(last, "a list of fields, each with its value")
    if path and isinstance(path[-1], int):
        expected = "a list of fields, each with its value"
    if kind == "missing":
        return tuple(path), f"this field is missing. Expected {expected}."
    found = (
        "nothing"
        if here is None
        else f"“{str(here)[:60]}”"
        if isinstance(here, str | int | float)
        else "a list"
    )
    return tuple(path), f"expected {expected}; found {found}."


def _holds(here: Any, step: str | int) -> bool:
    if isinstance(here, dict):
        return step in here
    return isinstance(here, list) and isinstance(step, int) and step < len(here)


def _field(path: Path) -> str:
    """Name a place in a file: ``zones 2 > defects 1 > at_most``, counted from 1."""
    words: list[str] = []
    for step in path:
        if isinstance(step, int) and words:
            words[-1] += f" {step + 1}"
        else:
            words.append(str(step))
    return " > ".join(words)


def _misfits(file: _File) -> Iterator[tuple[Path, str]]:
    """Say where zones or ranges of sizes don't fit together."""
    letters: set[str] = set()
    reached = 0.0
    for i, zone in enumerate(file.zones):
        path: Path = ("zones", i)
        if zone.letter in letters:
            yield (*path, "letter"), f"a zone {zone.letter} was given before. Each letter stands once."
        letters.add(zone.letter)
        if zone.inner_um != reached:
            kind = "a gap" if zone.inner_um > reached else "an overlap"
            yield (
                (*path, "inner_um"),
                f"expected {reached:g}, where the zone before ends; {zone.inner_um:g} leaves {kind}."
                if i
                else f"expected 0, the centre; found {zone.inner_um:g}.",
            )
        if zone.outer_um <= zone.inner_um:
            yield (*path, "outer_um"), f"expected more than the inner diameter of {zone.inner_um:g} µm."
        reached = zone.outer_um
        for field, rules in (("scratches", zone.scratches), ("defects", zone.defects)):
            yield from _range_misfits((*path, field), rules)


def _range_misfits(path: Path, rules: list[_Rule]) -> Iterator[tuple[Path, str]]:
    """Say where a list of rules holds a size twice or not at all."""
    edge, closed = 0.0, False  # sizes below the edge are held; those on it too where it is closed
    for i, rule in enumerate(rules):
        here = (*path, i)
        if rule.from_ is not None and rule.above is not None:
            yield here, "“from” and “above” both give the lower bound. Keep one of them."
            return
        if rule.to is not None and rule.below is not None:
            yield here, "“to” and “below” both give the upper bound. Keep one of them."
            return
        sizes = rule.value(Form.DEFECT).sizes
        if sizes.high_um is not None and (
            sizes.high_um < sizes.low_um
            or (sizes.high_um == sizes.low_um and not (sizes.holds_low and sizes.holds_high))
        ):
            yield here, "the upper bound lies under the lower one, so no size is meant."
            return
        starts = (sizes.low_um, not sizes.holds_low)  # True: begins just above the bound
        if starts != (edge, closed):
            expected = f"{'above' if closed else 'from'}: {edge:g}"
            if starts < (edge, closed):
                yield here, f"sizes overlap with those of the rule before. Expected “{expected}”."
            else:
                yield here, f"sizes are left out below this rule. Expected “{expected}”."
            return
        if sizes.high_um is None:
            if i + 1 < len(rules):
                yield (*path, i + 1), "sizes overlap: the rule before has no upper bound."
            return
        edge, closed = sizes.high_um, sizes.holds_high
    size = f"{'above' if closed else 'from'} {edge:g} µm"
    yield (*path, len(rules) - 1), f"no rule holds sizes {size}. Add one without an upper bound."
