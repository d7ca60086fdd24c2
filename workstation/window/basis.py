"""What a verdict rests on, in words: criteria with provenance, scale, what could be seen, blocked light."""

from workstation.values import Fit, Reading, Verdict
from workstation.window.words import SCALE_SOURCE, UNVERIFIED_NOTE


def basis_words(reading: Reading, verdict: Verdict) -> str:
    """Return paragraphs about what a verdict rests on, each with its numbers and units."""
    criteria = verdict.criteria
    paragraphs = [f"Criteria: {criteria.title}. {criteria.source}. {criteria.provenance}"]
    if criteria.unverified:
        paragraphs.append(UNVERIFIED_NOTE)
    paragraphs += _seen(reading)
    if isinstance(reading.fit, Fit):
        paragraphs.append(_scale(reading.fit))
    if reading.occlusion is not None:
        blocked = reading.occlusion
        paragraphs.append(
            f"Estimate only: dark features cover {blocked.weighted_fraction * 100:.2f} % of the guided "
            f"light, which by itself would cost {blocked.loss_db:.3f} dB (mode field diameter taken as "
            f"{blocked.mode_field_diameter_um:g} µm)."
        )
    if reading.frames_averaged > 1:
        paragraphs.append(f"The picture is the mean of {reading.frames_averaged} frames.")
    return "\n\n".join(paragraphs)


def _seen(reading: Reading) -> list[str]:
    ready = reading.readiness
    if ready.smallest_visible_um is None or ready.narrowest_scratch_um is None:
        return []
    blur = "" if ready.blur_um is None else f" The blur is {ready.blur_um:.2f} µm."
    return [
        f"This picture could have shown a dark particle of {ready.smallest_visible_um:.1f} µm and a scratch "
        f"of {ready.narrowest_scratch_um:.1f} µm; anything smaller may be there unseen.{blur}"
    ]


def _scale(fit: Fit) -> str:
    core = "" if fit.core is None else f" The core measures {fit.core.diameter_um:.1f} µm."
    return (
        f"Scale: {fit.um_per_px:.4f} µm a pixel, {SCALE_SOURCE[fit.scale_source]}, standard error "
        f"{fit.scale_error * 100:.2f} %.{core}"
    )
