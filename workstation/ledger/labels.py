"""What a port's label, and any other short text a person gives, may hold.

A label is kept exactly as given and never becomes part of a file name, so slashes, dots, reserved names,
emoji and right-to-left letters are all welcome. Only what nobody can see or store is refused.
"""

import unicodedata

from workstation.ledger.errors import LedgerError

LONGEST = 300
"""Longest label, in characters (Unicode code points)."""

# Cc: control characters, NUL and line ends among them; Cs: halves of surrogate pairs, which UTF-8 can't hold;
# Zl, Zp: line and paragraph separators. Unicode Standard, general category.
_REFUSED = {"Cc", "Cs", "Zl", "Zp"}
# Z*: spaces; Cf: invisible format characters such as direction marks. Alone they make nothing to read.
_UNSEEN = {"Zs", "Zl", "Zp", "Cc", "Cf"}


def checked_text(text: str, name: str, *, required: bool) -> str:
    """Check a short text and give it back unchanged.

    Parameters
    ----------
    text
        As a person gave it.
    name
        What it is, for the error's words, as in ``"port label"``.
    required
        Whether it must hold something that can be seen.

    Returns
    -------
    str
        The same text.

    Raises
    ------
    LedgerError
        It is too long, holds a control character, or is empty where it must not be.
    """
    shown = ascii(text if len(text) <= 60 else text[:60] + "…")
    if len(text) > LONGEST:
        raise LedgerError(
            f"The {name} is too long: {len(text)} characters, {LONGEST} at most.",
            shown,
            "Give a shorter one.",
        )
    for place, character in enumerate(text, start=1):
        if unicodedata.category(character) in _REFUSED:
            what = f"The {name} holds a sign that can't be shown (U+{ord(character):04X}, place {place})."
            raise LedgerError(what, shown, "Remove line breaks, tabs and control characters.")
    if required and all(unicodedata.category(character) in _UNSEEN for character in text):
        raise LedgerError(f"The {name} is empty.", shown, "Give at least one letter, digit or sign.")
    return text


def comparable(label: str) -> str:
    """Return the form in which two labels are the same: Unicode normal form C (Unicode Standard Annex 15)."""
    return unicodedata.normalize("NFC", label)
