"""What the window remembers between starts: a typed model, saved as JSON in the platform's settings folder.

Keys that this version doesn't know are kept as they are; a value that is no good is named in words and
replaced by its default, and never by silence.
"""

import json
import os
from pathlib import Path
from typing import Any

import platformdirs
from pydantic import BaseModel, ConfigDict, Field, ValidationError

FOLDER_NAME = "endface-workstation"
FILE_NAME = "window.json"


class Settings(BaseModel):
    """The last choices; the fields' names are the keys of the file.

    Attributes
    ----------
    operator, scope, criteria_id, session_name
        What the last session was begun with.
    source
        Where pictures came from last: ``simulator``, a camera's id, a path or an address.
    source_mode
        Size and rate of a camera, as its mode is labelled; empty for the best.
    ledger_folder
        Where sessions are kept; empty for the platform's own place.
    capture_key
        One more key that captures, beside Space and Enter, as Qt writes it ("F5", "Ctrl+G").
    dark_check
        How the person last made sure that the fibres were dark; proposed again, never taken as done.
    rings_shown, features_shown, smooth
        How pictures are drawn.
    show_graded
        Whether the graded picture takes the large place after a capture.
    geometry
        Place and size of the window, as Qt saves it, in base 64.
    """

    model_config = ConfigDict(extra="allow", validate_assignment=True)

    operator: str = ""
    scope: str = ""
    criteria_id: str = ""
    session_name: str = ""
    source: str = ""
    source_mode: str = ""
    ledger_folder: str = ""
    capture_key: str = Field(default="F5", max_length=40)
    dark_check: str = ""
    rings_shown: bool = True
    features_shown: bool = True
    smooth: bool = True
    show_graded: bool = True
    geometry: str = ""


def settings_path() -> Path:
    """Return where the settings lie on this machine."""
    return platformdirs.user_config_path(FOLDER_NAME) / FILE_NAME


def load_settings(path: Path) -> tuple[Settings, list[str]]:
    """Read the settings.

    Parameters
    ----------
    path
        The file; it need not exist.

    Returns
    -------
    tuple[Settings, list[str]]
        The settings, and a sentence for everything that was no good and was replaced by its default.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return Settings(), []
    except (OSError, UnicodeDecodeError) as trouble:
        return Settings(), [f"The settings in {path} could not be read ({trouble}). The defaults are used."]
    try:
        found = json.loads(text)
    except json.JSONDecodeError as trouble:
        return Settings(), [
            f"The settings in {path} are not readable JSON (line {trouble.lineno}: {trouble.msg}). "
            "The defaults are used."
        ]
    if not isinstance(found, dict):
        return Settings(), [f"The settings in {path} are not a JSON object. The defaults are used."]
    return _checked(found, path)


def _checked(found: dict[str, Any], path: Path) -> tuple[Settings, list[str]]:
    try:
        return Settings.model_validate(found), []
    except ValidationError as trouble:
        complaints = []
        for error in trouble.errors():
            key = str(error["loc"][0])
            if key in found:
                complaints.append(
                    f"Setting '{key}' in {path} has the value {found[key]!r}, which is no good: "
                    f"{error['msg']}. Its default is used."
                )
                del found[key]
    return Settings.model_validate(found), complaints


def save_settings(settings: Settings, path: Path) -> None:
    """Write the settings, aside first so that a crash leaves the old ones whole.

    Raises
    ------
    OSError
        The folder or the file can't be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = path.with_name(path.name + ".new")
    aside.write_text(json.dumps(settings.model_dump(), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    os.replace(aside, path)
