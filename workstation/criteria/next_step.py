"""What to do now, in plain words.

Only the advice rests on causes, which are guesses; the outcome never does. What is said here of cleaning and
re-polishing is common practice, no source, except where a line names one. The limit on tries is a shop's own.
"""

from collections.abc import Sequence

from workstation.criteria.counting import Standing, broken, in_doubt, weigh
from workstation.values import Cause, Check, Feature, Form, Outcome

SURE = 0.5  # own choice: a guess at a cause that is less sure is treated as no guess

_REMOVABLE = {Cause.LOOSE_DUST, Cause.SKIN_OIL, Cause.DRIED_RESIDUE, Cause.FILM}
_WET = {Cause.SKIN_OIL, Cause.DRIED_RESIDUE, Cause.FILM}

# Isopropyl alcohol of 99 % and more is preferred, and what is below about 90 % leaves residue: common
# practice.
_WET_CLEAN = (
    "Clean wet, then dry: one stroke over a wipe moistened with fresh isopropyl alcohol (99 %; below "
    "about 90 % its water leaves a residue), then one over a dry part. Let the face dry, then look again."
)
_DRY_CLEAN = "Clean dry, one stroke on a fresh part of the cleaner, then look again."
_POLISH = "Re-polish, or cut the connector off and terminate again."


def cleaning_may_help(standings: Sequence[Standing]) -> bool:
    """Whether the face would no longer fail, or be in doubt, with everything gone that may be dirt."""
    kept = [standing for standing in standings if not _may_be_dirt(standing.feature)]
    return len(kept) < len(standings) and weigh(kept) is Outcome.PASS


def after_judging(outcome: Outcome, standings: Sequence[Standing]) -> str:
    """Return the next step for a face that was judged.

    Parameters
    ----------
    outcome
        Pass, fail or borderline.
    standings
        The face's features and the rules that they fall under.

    Returns
    -------
    str
        One to three sentences.
    """
    if outcome is Outcome.PASS:
        text = "Ready to mate. Look at the other end face too, and keep the cap on until then."
        if any(_may_be_dirt(standing.feature) for standing in standings):
            # Particles move on mating and can reach the core: IEC TR 62627-05, seen in a reproduction.
            text += (
                " What dirt there is may move when mated: clean it off first where you can, and look again."
            )
        return text
    return _after_borderline(standings) if outcome is Outcome.BORDERLINE else _after_failing(standings)


def after_refusal(checks: Sequence[Check], message: str) -> str:
    """Return the next step for a picture that couldn't be judged: what the first unmet check advises."""
    advice = next((check.advice for check in checks if not check.ok and check.advice), message)
    return advice or "Take another picture, in focus, well lit and with the fibre in the middle."


def _after_borderline(standings: Sequence[Standing]) -> str:
    parts = {s.feature.id: s.feature for part in in_doubt(standings).values() for s in part}
    text = "A person decides: the size is within its measuring error of a limit."
    if any(_may_be_dirt(feature) for feature in parts.values()):
        return f"{text} It may be dirt, so first clean and look again. {_cleaning(list(parts.values()))}"
    return f"{text} Look again in sharp focus; if in doubt, don't use the face."


def _after_failing(standings: Sequence[Standing]) -> str:
    offending = [s.feature for part in broken(standings).values() for s in part]
    dirt = [feature for feature in offending if _may_be_dirt(feature)]
    lasting = [feature for feature in offending if not _may_be_dirt(feature)]
    if cleaning_may_help(standings):
        text = _cleaning(dirt or offending)
        if not all(feature.cause in _REMOVABLE for feature in dirt):
            text += (
                " What two or three cleanings leave unchanged is damage: then re-polish or terminate again."
            )
        return text
    causes = {feature.cause for feature in lasting}
    if causes and causes <= {Cause.ADHESIVE}:
        return "Cleaning won't take adhesive off: re-polish until it is gone, clean, and look again."
    what = "A scratch" if all(f.form is Form.SCRATCH for f in lasting) and lasting else "Damage"
    return f"{what} doesn't come off by cleaning. {_POLISH} Then clean and look again."


def _cleaning(features: Sequence[Feature]) -> str:
    """Return how to clean: dry first, wet where something is known to need it."""
    if any(feature.cause in _WET for feature in features):
        return _WET_CLEAN
    return _DRY_CLEAN


def _may_be_dirt(feature: Feature) -> bool:
    if feature.cause in _REMOVABLE or feature.cause is Cause.UNKNOWN:
        return True
    return feature.form is Form.DEFECT and feature.confidence < SURE
