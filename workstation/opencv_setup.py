"""The first place that imports OpenCV: what must be in the environment before, and taken out of it after.

The window and the command line import this module before anything else of the program. OpenCV reads these
variables once, when it loads or opens its first camera, so setting them later has no effect. What a person
has set stays as it is.
"""

import os

_BEFORE = {
    # A camera that stops sending would otherwise block a read for 10 s.
    "OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT": "2",
    # Media Foundation's hardware transforms make many cameras take half a minute to open.
    "OPENCV_VIDEOIO_MSMF_ENABLE_HW_TRANSFORMS": "0",
    # The sources say in words what went wrong; each try to reconnect would write a warning besides.
    "OPENCV_LOG_LEVEL": "ERROR",
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
}
# The wheel points Qt at its own plug-ins and fonts, where PySide6 must use those that came with it.
_AFTER = ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR")

for _name, _value in _BEFORE.items():
    os.environ.setdefault(_name, _value)
_kept = {name: os.environ.get(name) for name in _AFTER}

import cv2  # noqa: E402

for _name, _own in _kept.items():
    if _own is None:
        os.environ.pop(_name, None)
    else:
        os.environ[_name] = _own

__all__ = ["cv2"]
