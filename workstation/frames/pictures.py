"""Picture files: checked by their headers before anything is decoded, then read as eight-bit grey or colour.

Everything that a file can have wrong ends in one :class:`PictureError` with a sentence that says what, which
file, and what to do. The orientation that a camera wrote into the file is followed, as every viewer does, so
that what was measured lies where a person sees it.
"""

import re
import stat
import struct
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import (
    BmpImagePlugin,
    ImageFile,
    ImageOps,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    WebPImagePlugin,
)

from workstation.opencv_setup import cv2

LARGEST_PX = 100_000_000
SMALLEST_SIDE_PX = 64

_ENDINGS = {
    ".png": "PNG",
    ".jpg": "JPEG",
    ".jpeg": "JPEG",
    ".bmp": "BMP",
    ".tif": "TIFF",
    ".tiff": "TIFF",
    ".webp": "WebP",
}
PICTURE_ENDINGS = frozenset(_ENDINGS)

# Each format's own class, and not Image.open: that one guesses from whatever plug-ins are loaded, and warns
# about sizes through the warnings module, which is one state for all threads.
_READERS: dict[str, type[ImageFile.ImageFile]] = {
    "PNG": PngImagePlugin.PngImageFile,
    "JPEG": JpegImagePlugin.JpegImageFile,
    "BMP": BmpImagePlugin.BmpImageFile,
    "TIFF": TiffImagePlugin.TiffImageFile,
    "WebP": WebPImagePlugin.WebPImageFile,
}
# What Pillow's readers raise for contents that are damaged, cut short or nonsense.
_DAMAGED = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    OverflowError,
    struct.error,
    zlib.error,
    UserWarning,
)
_EXPORT = "Export it as 8-bit PNG, grey or colour without transparency, and try again."


class PictureError(Exception):
    """A picture file can't be used.

    Parameters
    ----------
    path
        The file.
    sentence
        What is wrong, with which file, and what to do.
    """

    def __init__(self, path: Path, sentence: str) -> None:
        super().__init__(sentence)
        self.path = path
        self.sentence = sentence


def read_picture(path: str | Path) -> NDArray[np.uint8]:
    """Read a picture file as it is: eight bits, nothing scaled, its orientation mark followed.

    Parameters
    ----------
    path
        A PNG, JPEG, BMP, TIFF or WebP file whose name has the ending of its format.

    Returns
    -------
    NDArray[np.uint8]
        Shape (height, width) if the file is grey, else (height, width, 3) in blue-green-red order; contiguous
        and writable. A palette without transparency is looked up.

    Raises
    ------
    PictureError
        The file can't be read or isn't an 8-bit still picture of a usable size; ``sentence`` says why.
    """
    path = Path(path)
    with _opened(path) as file:
        kind = _kind(path, file)
        picture = _header(path, file, kind)
        _check_size(path, picture.size)
        _check_kind_of_pixels(path, kind, picture)
        return _decoded(path, kind, picture)


def list_pictures(paths: Iterable[str | Path]) -> tuple[Path, ...]:
    """Put files and the pictures in folders in one order that is the same on every machine.

    Parameters
    ----------
    paths
        Files and folders. A file is listed as given, whatever its ending and whether or not it exists, so
        that reading it says what is wrong; a folder gives the files directly in it that have the ending of a
        picture and aren't hidden.

    Returns
    -------
    tuple of Path
        In the order given; within a folder in natural order, numbers by value and case ignored.

    Raises
    ------
    PictureError
        A folder can't be listed.
    """
    listed: list[Path] = []
    for path in map(Path, paths):
        try:
            if not path.is_dir():
                listed.append(path)
                continue
            inside = [
                entry
                for entry in path.iterdir()
                if entry.suffix.lower() in PICTURE_ENDINGS
                and not entry.name.startswith(".")
                and not entry.is_dir()
            ]
        except PermissionError as error:
            raise PictureError(
                path,
                f"The folder {path} may not be listed. Ask for the right to read it, or copy the pictures.",
            ) from error
        listed.extend(sorted(inside, key=lambda entry: _natural(entry.name)))
    return tuple(listed)


def _natural(name: str) -> tuple[list[tuple[int, int, str]], str]:
    parts = [part for part in re.split(r"(\d+)", name.casefold()) if part]
    key = [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts]
    # "a1" and "A01" are equal so far; the name itself decides, so that no file system's order shows through.
    return key, name


def _opened(path: Path) -> BinaryIO:
    try:
        if not stat.S_ISREG(path.stat().st_mode) and not path.is_dir():
            # Opening a pipe would wait for ever for somebody to write to it.
            raise PictureError(path, f"{path} is a device or a pipe, not a picture. Choose a file.")
        return path.open("rb")
    except FileNotFoundError as error:
        raise PictureError(path, f"There is no file {path}. Check the name and the folder.") from error
    except IsADirectoryError as error:
        raise PictureError(path, f"{path} is a folder, not a picture. Choose a file in it.") from error
    except PermissionError as error:
        # Windows says "permission denied" for a folder too.
        if path.is_dir():
            raise PictureError(path, f"{path} is a folder, not a picture. Choose a file in it.") from error
        raise PictureError(
            path, f"{path} may not be read. Ask for the right to read it, or copy it to where you may."
        ) from error
    except (OSError, ValueError) as error:
        raise PictureError(path, f"{path} can't be opened: {error}. Check the name and the disk.") from error


def _kind(path: Path, file: BinaryIO) -> str:
    """Return the format by content, which must be the one that the ending says."""
    try:
        head = file.read(32)
    except OSError as error:
        raise PictureError(
            path, f"{path} can't be read: {error}. Check the disk and copy it again."
        ) from error
    if not head:
        raise PictureError(path, f"{path} is empty (0 bytes). Copy or export it again.")
    said = _ENDINGS.get(path.suffix.lower())
    found = _by_content(head)
    if found not in _READERS:
        what = (
            f"holds {found}, which can't be graded"
            if found
            else "isn't a picture in a format that can be graded"
        )
        raise PictureError(path, f"{path} {what}. Use PNG, JPEG, BMP, TIFF or WebP.")
    if said is None:
        raise PictureError(
            path, f"{path} holds {found} but its name doesn't end so. Give it the ending of its format."
        )
    if said != found:
        raise PictureError(
            path,
            f"{path} was renamed: the name says {said}, the content is {found}. "
            "Give it its right ending, or export it again.",
        )
    if found == "WebP":
        # Its reader makes room for the whole picture at once, so the size is looked at first.
        _check_size(path, _webp_size(head))
    file.seek(0)
    return found


def _by_content(head: bytes) -> str:
    for start, kind in (
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"\xff\xd8\xff", "JPEG"),
        (b"BM", "BMP"),
        (b"II*\0", "TIFF"),
        (b"MM\0*", "TIFF"),
        (b"II+\0", "TIFF"),
        (b"MM\0+", "TIFF"),
        (b"GIF8", "GIF"),
        (b"%PDF", "a PDF document"),
    ):
        if head.startswith(start):
            return kind
    return "WebP" if head[:4] == b"RIFF" and head[8:12] == b"WEBP" else ""


def _webp_size(head: bytes) -> tuple[int, int]:
    """Width and height from the first chunk (RFC 9649, 2.5 to 2.7); the smallest usable if cut short."""
    head = head.ljust(32, b"\0")
    chunk = head[12:16]
    if chunk == b"VP8X":
        return int.from_bytes(head[24:27], "little") + 1, int.from_bytes(head[27:30], "little") + 1
    if chunk == b"VP8L":
        bits = int.from_bytes(head[21:25], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if chunk == b"VP8 " and head[23:26] == b"\x9d\x01\x2a":
        width, height = struct.unpack_from("<HH", head, 26)
        return width & 0x3FFF, height & 0x3FFF
    return SMALLEST_SIDE_PX, SMALLEST_SIDE_PX


def _header(path: Path, file: BinaryIO, kind: str) -> ImageFile.ImageFile:
    try:
        return _READERS[kind](file)
    except _DAMAGED as error:
        raise _damaged(path, kind, error) from error


def _check_size(path: Path, size: tuple[int, int]) -> None:
    width, height = size
    if width * height > LARGEST_PX:
        raise PictureError(
            path,
            f"{path} says it is {width} × {height} pixels; at most {LARGEST_PX // 1_000_000} megapixels are "
            "read. Cut out the part with the end face, or save it smaller.",
        )
    if min(width, height) < SMALLEST_SIDE_PX:
        raise PictureError(
            path,
            f"{path} is {width} × {height} pixels; an end face needs at least {SMALLEST_SIDE_PX} a side. "
            "Use the picture as the camera took it.",
        )


def _check_kind_of_pixels(path: Path, kind: str, picture: ImageFile.ImageFile) -> None:
    try:
        frames = getattr(picture, "n_frames", 1)
    except _DAMAGED as error:
        raise _damaged(path, kind, error) from error
    if frames > 1:
        raise PictureError(
            path,
            f"{path} is animated or has several pages ({frames}). Save the one picture to grade by itself.",
        )
    mode = picture.mode
    bits = _bits(kind, picture)
    if bits > 8 or mode.startswith(("I", "F")):
        raise PictureError(path, f"{path} has more than 8 bits a pixel and colour. {_EXPORT}")
    if mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in picture.info:
        raise PictureError(path, f"{path} has transparency (an alpha channel). {_EXPORT}")
    if mode == "CMYK":
        raise PictureError(path, f"{path} is in printing colours (CMYK). {_EXPORT}")
    if mode not in ("L", "RGB", "P"):
        what = "only black and white" if mode == "1" else f"in the colour space {mode}"
        raise PictureError(path, f"{path} is {what}, which can't be graded. {_EXPORT}")


def _bits(kind: str, picture: ImageFile.ImageFile) -> int:
    """Bits a sample as the file has them; Pillow makes 16-bit colour into 8 bits without a word."""
    if kind == "TIFF":
        assert isinstance(picture, TiffImagePlugin.TiffImageFile)
        return int(max(picture.tag_v2.get(TiffImagePlugin.BITSPERSAMPLE, (1,))))
    if kind == "PNG":
        assert picture.fp is not None
        here = picture.fp.tell()
        picture.fp.seek(24)  # the bit depth in IHDR, always the first chunk (ISO/IEC 15948, 11.2.2)
        depth = picture.fp.read(1)[0]
        picture.fp.seek(here)
        return int(depth)
    return 8


def _decoded(path: Path, kind: str, picture: ImageFile.ImageFile) -> NDArray[np.uint8]:
    try:
        picture.load()
        upright = ImageOps.exif_transpose(picture)
        if upright.mode == "L":
            return np.array(upright, dtype=np.uint8)
        colour = upright if upright.mode == "RGB" else upright.convert("RGB")
        return np.asarray(cv2.cvtColor(np.asarray(colour), cv2.COLOR_RGB2BGR), dtype=np.uint8)
    except _DAMAGED as error:
        raise _damaged(path, kind, error) from error


def _damaged(path: Path, kind: str, error: BaseException) -> PictureError:
    return PictureError(
        path,
        f"{path} is damaged or cut short: the {kind} data can't be read to its end ({error}). Copy it again.",
    )
