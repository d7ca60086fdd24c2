"""The sentences of a verdict: they name zone, rule, count and feature numbers."""

from collections.abc import Sequence

from workstation.criteria.counting import NORMAL_95, Cell, Standing, in_doubt, judged_size_um
from workstation.criteria.table import Criteria, noun
from workstation.values import Check

MOST_NUMBERS = 20  # a dirty face has hundreds of features; a sentence that lists them all can't be read


def listed(items: Sequence[int | str], what: str = "") -> str:
    """Join numbers or letters for a sentence: ``features 1, 3 and 4``; of many, the first twenty."""
    words = [str(item) for item in items[:MOST_NUMBERS]]
    if len(items) > MOST_NUMBERS:
        text = ", ".join(words) + f" and {len(items) - MOST_NUMBERS} more"
    else:
        text = words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
    return f"{what}{'s' if len(items) > 1 else ''} {text}" if what else text


def broken_sentence(cell: Cell, standings: Sequence[Standing]) -> str:
    """Say that a rule is broken, by which features, and what is allowed."""
    zone, rule = cell
    count = len(standings)
    size = f" {rule.sizes.words}" if rule.sizes.words else ""
    ids = listed([standing.feature.id for standing in standings], "feature")
    allowed = "none allowed" if rule.at_most == 0 else f"at most {rule.at_most} allowed"
    remark = f" Remark: {rule.note}." if rule.note else ""
    weak = (
        " This limit is from memory: check it against the published standard."
        if rule.known.unverified
        else ""
    )
    return f"Zone {zone.letter}: {count} {noun(rule.form, count)}{size} ({ids}), {allowed}.{remark}{weak}"


def doubt_sentences(standings: Sequence[Standing]) -> list[str]:
    """Say of each rule that may or may not be kept which features decide it."""
    return [
        f"Zone {zone.letter}: it can't be told whether the rule “{rule.words}” is kept, as "
        + "; ".join(_measured(standing) for standing in wavering[:MOST_NUMBERS])
        + "."
        for (zone, rule), wavering in in_doubt(standings).items()
    ]


def _measured(standing: Standing) -> str:
    size, error = judged_size_um(standing.feature)
    text = f"feature {standing.feature.id} measures {size:.2f} ± {NORMAL_95 * error:.2f} µm"
    if len({cell[0].letter if cell else "" for cell in standing.could}) > 1:
        text += (
            f" and begins {standing.feature.inner_um:.1f} ± {NORMAL_95 * error / 2:.1f} µm from the centre"
        )
    return text


def kept_sentence(criteria: Criteria) -> str:
    """Say that every zone keeps its limits."""
    first, last = criteria.zones[0].letter, criteria.zones[-1].letter
    zones = f"Zones {first} to {last} keep" if first != last else f"Zone {first} keeps"
    return f"{zones} the limits of {criteria.title}."


def unmet_sentence(check: Check) -> str:
    """Say which condition a picture doesn't meet, and by how much."""
    unit = f" {check.unit}" if check.unit else ""
    return f"Not judged: {check.name}: {check.value:.4g}{unit}, limit {check.limit:.4g}{unit}."
