"""Where pictures come from: sources, the feed that keeps the newest frame, and picture files."""

from workstation.frames.burst import Burst
from workstation.frames.camera_info import Backend, CameraInfo, CameraMode, best_mode
from workstation.frames.cameras import Camera, list_cameras
from workstation.frames.feed import Feed, FeedEvent, FeedEventKind
from workstation.frames.files import PictureFolder, Stream, VideoFile
from workstation.frames.pictures import PICTURE_ENDINGS, PictureError, list_pictures, read_picture
from workstation.frames.source import (
    Adjustable,
    Control,
    FrameSource,
    Renewable,
    SourceTrouble,
    Telling,
    TroubleKind,
)

__all__ = [
    "PICTURE_ENDINGS",
    "Adjustable",
    "Backend",
    "Burst",
    "Camera",
    "CameraInfo",
    "CameraMode",
    "Control",
    "Feed",
    "FeedEvent",
    "FeedEventKind",
    "FrameSource",
    "PictureError",
    "PictureFolder",
    "Renewable",
    "SourceTrouble",
    "Stream",
    "Telling",
    "TroubleKind",
    "VideoFile",
    "best_mode",
    "list_cameras",
    "list_pictures",
    "read_picture",
]
