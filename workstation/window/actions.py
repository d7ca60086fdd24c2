"""Everything that the window can do, once: name, keys, explanation; for menus, tool tips and the key list."""

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMainWindow, QMenu


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that the window can do.

    Attributes
    ----------
    name
        For the program.
    menu
        The menu that it stands in.
    words
        What the menu calls it; ``&`` marks the letter for the keyboard.
    keys
        As Qt writes them; empty for none.
    tip
        One sentence.
    checkable
        Whether it is switched on and off.
    divided
        Whether a line stands above it.
    """

    name: str
    menu: str
    words: str
    keys: str
    tip: str
    checkable: bool = False
    divided: bool = False


MENUS = ("&Session", "&Capture", "&View", "S&ource", "&Help")
DEEDS = (
    Deed(
        "new_session",
        "&Session",
        "&New session …",
        "Ctrl+N",
        "Begin a session: who, which scope, which criteria",
    ),
    Deed(
        "open_session",
        "&Session",
        "&Open a recorded session …",
        "Ctrl+O",
        "Read or go on with an earlier session",
    ),
    Deed(
        "grade_file",
        "&Session",
        "&Grade a picture file …",
        "Ctrl+G",
        "Grade a picture that lies on the disk; it is not kept",
        divided=True,
    ),
    Deed(
        "export_csv",
        "&Session",
        "&Export as CSV …",
        "Ctrl+E",
        "Write this session's looks as a table, one row a look",
    ),
    Deed("settings", "&Session", "Se&ttings …", "Ctrl+,", "What the window remembers", divided=True),
    Deed("quit", "&Session", "&Quit", "Ctrl+Q", "Close the window; everything is kept already", divided=True),
    Deed("capture", "&Capture", "&Capture and grade", "F5", "Take the next picture, grade it and keep it"),
    Deed("next_port", "&Capture", "&Next port", "N", "Go to the next port and to the live picture"),
    Deed("edit_port", "&Capture", "&Port ID", "Ctrl+P", "Type the ID of the port"),
    Deed("swap", "&View", "&Live or graded picture large", "L", "Let the two pictures change places"),
    Deed("rings", "&View", "&Rings", "R", "Show or hide the zones' rings", checkable=True, divided=True),
    Deed(
        "features", "&View", "&Features", "F", "Show or hide outlines and numbers of features", checkable=True
    ),
    Deed(
        "smooth",
        "&View",
        "&Smooth picture",
        "S",
        "Smooth the picture on the screen; what is graded stays as it is",
        checkable=True,
    ),
    Deed(
        "list",
        "&View",
        "Session &list",
        "T",
        "Show or hide the list at the left",
        checkable=True,
    ),
    Deed("zoom_in", "&View", "Zoom &in", "+", "Come closer; the wheel does so at the cursor", divided=True),
    Deed("zoom_out", "&View", "Zoom &out", "-", "Step back"),
    Deed("whole", "&View", "&Whole picture", "0", "Show the whole picture"),
    Deed(
        "one_to_one", "&View", "One &pixel to one", "1", "Show each pixel of the picture as one of the screen"
    ),
    Deed(
        "previous_look",
        "&View",
        "Look a&bove in the list",
        "Ctrl+Up",
        "Read the look before this one in the list",
        divided=True,
    ),
    Deed(
        "next_look",
        "&View",
        "Look &under it in the list",
        "Ctrl+Down",
        "Read the look after this one in the list",
    ),
    Deed(
        "choose_source",
        "S&ource",
        "&Choose a source …",
        "Ctrl+K",
        "Camera, film, folder, stream or simulated microscope",
    ),
    Deed(
        "start_live",
        "S&ource",
        "&Start live picture",
        "Ctrl+L",
        "Show the live picture, after the caution about lit fibre",
    ),
    Deed("stop_live", "S&ource", "S&top live picture", "Ctrl+T", "Let the source go"),
    Deed("worth", "&Help", "&What the verdict is worth", "F1", "What a verdict says and what it does not"),
    Deed("caution", "&Help", "&Lit fibre", "", "The caution about lit fibre"),
    Deed("keys", "&Help", "&Keys", "F2", "The list of keys"),
    Deed("about", "&Help", "&About this program", "", "Version and what it is made for"),
)


def make_actions(window: QMainWindow, act: Callable[[str], None], capture_key: str) -> dict[str, QAction]:
    """Fill the menu bar and return the actions by name.

    Parameters
    ----------
    window
        Gets the menus.
    act
        Called with the name of what was chosen.
    capture_key
        The person's own key for capturing.
    """
    menus: dict[str, QMenu] = {title: window.menuBar().addMenu(title) for title in MENUS}
    actions: dict[str, QAction] = {}
    for deed in DEEDS:
        action = QAction(deed.words, window)
        keys = capture_key if deed.name == "capture" else deed.keys
        if keys:
            action.setShortcut(QKeySequence(keys))
        action.setToolTip(with_keys(deed.tip, keys))
        action.setCheckable(deed.checkable)
        action.triggered.connect(lambda _checked=False, name=deed.name: act(name))
        if deed.divided:
            menus[deed.menu].addSeparator()
        menus[deed.menu].addAction(action)
        actions[deed.name] = action
    return actions


def with_keys(tip: str, keys: str) -> str:
    """Return a tool tip with its keys."""
    return f"{tip} ({keys})" if keys else tip


def key_list(capture_key: str) -> list[tuple[str, str]]:
    """Return keys and what they do, for the list in the help."""
    rows = [(f"Space, Enter, {capture_key}", "Take the next picture, grade it and keep it")]
    rows += [(deed.keys, deed.tip) for deed in DEEDS if deed.keys and deed.name != "capture"]
    rows += [("Arrow keys", "Move a magnified picture"), ("Tab", "Go to the next control")]
    return rows
