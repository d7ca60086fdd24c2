"""Colours and type: dark and neutral around the picture, one accent hue, nothing told by colour alone."""

from dataclasses import dataclass

from PySide6.QtGui import QColor, QIcon, QPalette
from PySide6.QtWidgets import QApplication

from workstation.paths import resources


@dataclass(frozen=True, slots=True)
class Theme:
    """The colours by their use, as ``#rrggbb``.

    ``accent`` is the one hue; ``picture`` surrounds the picture; ``raised`` is a field or a button; ``line``
    divides; ``quiet`` is text that explains, ``faint`` what can't be used now.
    """

    picture: str
    ground: str
    raised: str
    pressed: str
    line: str
    text: str
    quiet: str
    accent: str
    on_accent: str
    halo: str
    faint: str


DARK = Theme(
    picture="#141516",
    ground="#1f2022",
    raised="#2b2d30",
    pressed="#393c40",
    line="#43464b",
    text="#ececee",
    quiet="#b4b7bc",
    accent="#c9a8ff",
    on_accent="#1c1326",
    halo="#000000",
    faint="#85888e",
)

POINT_SIZE = 11
"""Size of ordinary type in points."""
SMALL_POINT_SIZE = 10
"""Size of type in tables, in points."""


def dress(application: QApplication, theme: Theme = DARK) -> None:
    """Give the application its palette, type size, style sheet and icon.

    Raises
    ------
    FileNotFoundError
        The style sheet is missing from the program's data folder.
    """
    application.setStyle("Fusion")
    palette = QPalette()
    roles = QPalette.ColorRole
    for role, colour in (
        (roles.Window, theme.ground),
        (roles.WindowText, theme.text),
        (roles.Base, theme.raised),
        (roles.AlternateBase, theme.ground),
        (roles.Text, theme.text),
        (roles.Button, theme.raised),
        (roles.ButtonText, theme.text),
        (roles.BrightText, theme.text),
        (roles.ToolTipBase, theme.raised),
        (roles.ToolTipText, theme.text),
        (roles.PlaceholderText, theme.quiet),
        (roles.Highlight, theme.accent),
        (roles.HighlightedText, theme.on_accent),
        (roles.Link, theme.accent),
        (roles.Mid, theme.line),
        (roles.Dark, theme.picture),
        (roles.Light, theme.pressed),
    ):
        palette.setColor(role, QColor(colour))
    for role in (roles.Text, roles.ButtonText, roles.WindowText):
        palette.setColor(QPalette.ColorGroup.Disabled, role, QColor(theme.faint))
    application.setPalette(palette)
    font = application.font()
    font.setPointSize(POINT_SIZE)
    application.setFont(font)
    sheet = (resources() / "style" / "window.qss").read_text(encoding="utf-8")
    for name in theme.__dataclass_fields__:
        sheet = sheet.replace(f"@{name}@", getattr(theme, name))
    application.setStyleSheet(sheet.replace("@icons@", (resources() / "icons").as_posix()))
    application.setWindowIcon(QIcon(str(resources() / "icons" / "window.svg")))
