"""Where pictures come from: sources, the feed that keeps the newest frame, and picture files."""

from workstation.frames.feed import Burst, Feed, FeedEvent, FeedEventKind
from workstation.frames.pictures import PICTURE_ENDINGS, PictureError, list_pictures, read_picture
from workstation.frames.source import (
    Adjustable,
    Control,
    FrameSource,
    Renewable,
    SourceTrouble,
    TroubleKind,
)

__all__ = [
    "PICTURE_ENDINGS",
    "Adjustable",
    "Burst",
    "Control",
    "Feed",
    "FeedEvent",
    "FeedEventKind",
    "FrameSource",
    "PictureError",
    "Renewable",
    "SourceTrouble",
    "TroubleKind",
    "list_pictures",
    "read_picture",
]
