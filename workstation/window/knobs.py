"""The knobs below the picture: the source's own controls, and the hands that some sources lend."""

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSlider,
    QVBoxLayout,
    QWidget,
)

from workstation.frames import Control
from workstation.window.sources import Hand

_STEPS = 400


class Knob(QWidget):
    """One control as a slider, with its automatic mode if any; signals ``turned`` (key, value, auto)."""

    turned = Signal(str, object, object)

    def __init__(self, control: Control, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.control = control
        self._slider = QSlider(Qt.Orientation.Horizontal, self)
        self._slider.setAccessibleName(control.label)
        self._slider.setToolTip(f"{control.label}: arrow keys turn it finely, page keys coarsely")
        self._slider.setMinimumWidth(70)
        span = control.maximum - control.minimum
        self._step = max(control.step, span / _STEPS) if span > 0 else 1.0
        self._slider.setRange(0, max(0, round(span / self._step)))
        self._slider.setPageStep(max(1, self._slider.maximum() // 10))
        name = QLabel(control.label, self)
        name.setBuddy(self._slider)
        self._value = QLabel(self)
        self._value.setObjectName("quiet")
        self._value.setMinimumWidth(self.fontMetrics().horizontalAdvance("0000.0 mm"))
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(8)
        row.addWidget(name)
        row.addWidget(self._slider, 1)
        row.addWidget(self._value)
        self._auto: QCheckBox | None = None
        if control.auto is not None:
            self._auto = QCheckBox("by itself", self)
            self._auto.setAccessibleName(f"{control.label} by itself")
            self._auto.setToolTip(f"Let the device set {control.label.lower()} by itself")
            self._auto.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            row.addWidget(self._auto)
            self._auto.toggled.connect(lambda on: self.turned.emit(control.key, None, on))
        self.show_control(control)
        self._slider.valueChanged.connect(self._moved)

    def show_control(self, control: Control) -> None:
        """Show a control's present value, unless a hand is on the slider."""
        self.control = control
        if not self._slider.isSliderDown():
            self._slider.blockSignals(True)
            self._slider.setValue(round((control.value - control.minimum) / self._step))
            self._slider.blockSignals(False)
            self._write(control.value)
        if self._auto is not None and control.auto is not None:
            self._auto.blockSignals(True)
            self._auto.setChecked(control.auto)
            self._auto.blockSignals(False)
        self._slider.setEnabled(not control.auto)

    def _moved(self, place: int) -> None:
        value = min(self.control.minimum + place * self._step, self.control.maximum)
        self._write(value)
        self.turned.emit(self.control.key, value, None)

    def _write(self, value: float) -> None:
        self._value.setText(f"{value:.4g} {self.control.unit}".strip())


class Knobs(QFrame):
    """A row of knobs and buttons; signals ``turned`` (key, value, auto)."""

    turned = Signal(str, object, object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("knobs")
        self._slider_grid, self._button_row = QGridLayout(), QHBoxLayout()
        self._slider_grid.setHorizontalSpacing(24)
        rows = QVBoxLayout(self)
        rows.setContentsMargins(0, 10, 0, 0)
        rows.setSpacing(8)
        rows.addLayout(self._slider_grid)
        rows.addLayout(self._button_row)
        self._knobs: dict[str, Knob] = {}
        self._buttons: list[QPushButton] = []
        self.hide()

    @property
    def buttons(self) -> tuple[QPushButton, ...]:
        """The buttons shown."""
        return tuple(self._buttons)

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys of the controls shown."""
        return tuple(self._knobs)

    def show_hands(self, hands: Sequence[Hand], act: Callable[[Hand], object]) -> None:
        """Show a button for each hand in place of those shown before; ``act`` is called with the hand."""
        for old in self._buttons:
            old.hide()
            old.deleteLater()
        self._buttons = []
        for hand in hands:
            button = QPushButton(hand.words, self)
            button.setShortcut(hand.keys)
            button.setToolTip(f"{hand.tip} ({hand.keys})")
            button.setAccessibleName(hand.words)
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.clicked.connect(lambda _checked=False, hand=hand: act(hand))
            self._button_row.addWidget(button)
            self._buttons.append(button)
        self.setVisible(bool(self._buttons or self._knobs))

    def show_controls(self, controls: Sequence[Control]) -> None:
        """Show these controls; the knobs are only made anew when there are others than before."""
        if [control.key for control in controls] != list(self._knobs):
            for old in self._knobs.values():
                old.hide()
                old.deleteLater()
            self._knobs = {}
            for place, control in enumerate(controls):
                knob = Knob(control, self)
                knob.turned.connect(self.turned)
                self._slider_grid.addWidget(knob, place // 2, place % 2)
                self._knobs[control.key] = knob
            self.setVisible(bool(self._buttons or self._knobs))
            return
        for control in controls:
            if self._knobs[control.key].control != control:
                self._knobs[control.key].show_control(control)
