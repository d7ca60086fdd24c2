"""The picture store: a lossless PNG each, named by its SHA-256, and small JPEGs to look through.

A picture is written aside, forced to disk, and then renamed, so that a file under its final name is always
whole. No name that a person gave ever becomes part of a path.
"""

import hashlib
import math
import os
import secrets
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from workstation.ledger.errors import LedgerError, file_error
from workstation.opencv_setup import cv2
from workstation.values import Fit, Look

THUMBNAIL_PX = 160
"""Longest side of a thumbnail, in pixels."""

# Fast rather than small: on sensor noise, run lengths over the differences of neighbours come out no larger
# than a full search does, in less than half of the time (0.12 s against 0.26 s at 2592x1944 in colour).
_PNG = [
    *(cv2.IMWRITE_PNG_COMPRESSION, 1),
    *(cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE),
    *(cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_SUB),
]
_JPEG = [cv2.IMWRITE_JPEG_QUALITY, 88]
_CROP_PER_DIAMETER = 1.3  # shown side over the cladding's diameter


class PictureStore:
    """Pictures and thumbnails below one folder.

    Parameters
    ----------
    folder
        The ledger's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._pictures = folder / "pictures"
        self._thumbnails = folder / "thumbnails"
        self._aside = folder / "pictures" / "aside"

    def make_folders(self) -> None:
        """Make the folders and clear what a killed program left; only the one writer may call this."""
        try:
            self._aside.mkdir(parents=True, exist_ok=True)
            self._thumbnails.mkdir(exist_ok=True)
            for left in self._aside.iterdir():
                left.unlink()
        except OSError as error:
            raise file_error(error, self._aside, "prepare the picture folder") from error

    def path(self, sha256: str) -> Path:
        """Return where the picture with this SHA-256 lies."""
        return self._pictures / sha256[:2] / f"{sha256}.png"

    def keep(self, pixels: NDArray[np.uint8]) -> str:
        """Store a picture; when this returns, it is on disk.

        Parameters
        ----------
        pixels
            uint8, (height, width) grey or (height, width, 3) blue-green-red.

        Returns
        -------
        str
            SHA-256 of the stored file, as 64 hexadecimal digits.

        Raises
        ------
        ValueError
            The pixels have another shape or type.
        LedgerError
            The file can't be written.
        """
        check_pixels(pixels)
        made, encoded = cv2.imencode(".png", pixels, _PNG)
        if not made:
            raise LedgerError(
                "The picture could not be turned into a PNG file.", self._pictures, "Report this."
            )
        data = encoded.tobytes()
        sha256 = hashlib.sha256(data).hexdigest()
        self._write(self.path(sha256), data, "save the picture", force=True)
        return sha256

    def load(self, sha256: str) -> NDArray[np.uint8]:
        """Read a picture and make sure that it is the one that was stored.

        Raises
        ------
        LedgerError
            The file is missing, can't be read, or isn't what was stored.
        """
        path = self.path(sha256)
        data = self._read(path)
        if hashlib.sha256(data).hexdigest() != sha256:
            todo = "Restore it from a backup; the reading and verdict in the ledger are not touched by this."
            raise LedgerError("The stored picture was altered after it was saved.", path, todo)
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
        if pixels is None:
            raise LedgerError("The stored picture can't be decoded.", path, "Report this.")
        return np.asarray(pixels, np.uint8)

    def fault(self, sha256: str) -> str:
        """Return in words what is wrong with a stored picture, or an empty text."""
        path = self.path(sha256)
        digest = hashlib.sha256()
        try:
            with path.open("rb") as file:
                while chunk := file.read(1 << 20):
                    digest.update(chunk)
        except FileNotFoundError:
            return f"its picture {path} is missing"
        except OSError as error:
            return f"its picture {path} can't be read: {error.strerror}"
        return "" if digest.hexdigest() == sha256 else f"its picture {path} was altered"

    def thumbnail(self, look: Look) -> Path:
        """Return the path of a look's thumbnail, which is made when it isn't there.

        Raises
        ------
        LedgerError
            There is none, and the picture can't be read or the thumbnail not be written.
        """
        path = self._thumbnail_path(look.picture_sha256, _crop(look.reading.fit))
        if not path.exists():
            self.make_thumbnail(look.picture_sha256, self.load(look.picture_sha256), look.reading.fit)
        return path

    def make_thumbnail(self, sha256: str, pixels: NDArray[np.uint8], fit: object) -> None:
        """Write the thumbnail of a picture, cropped to the fibre where there is a fit."""
        crop = _crop(fit)
        made, encoded = cv2.imencode(".jpg", small(pixels, crop), _JPEG)
        if not made:
            raise LedgerError("The thumbnail could not be drawn.", self._thumbnails, "Report this.")
        self._write(self._thumbnail_path(sha256, crop), encoded.tobytes(), "save the thumbnail", force=False)

    def _thumbnail_path(self, sha256: str, crop: tuple[int, int, int] | None) -> Path:
        # The same picture may be kept with another fit: the crop is part of the name.
        cut = "whole" if crop is None else "_".join(str(number) for number in crop)
        return self._thumbnails / sha256[:2] / f"{sha256[:32]}-{cut}.jpg"

    def _write(self, path: Path, data: bytes, doing: str, *, force: bool) -> None:
        aside = self._aside / f"{secrets.token_hex(16)}.part"
        try:
            new_folder = not path.parent.is_dir()
            path.parent.mkdir(parents=True, exist_ok=True)
            try:
                with aside.open("wb") as file:
                    file.write(data)
                    if force:
                        file.flush()
                        os.fsync(file.fileno())
                aside.replace(path)
            except OSError:
                aside.unlink(missing_ok=True)
                raise
            if force:
                sync_folder(path.parent)
                if new_folder:
                    sync_folder(path.parent.parent)
        except OSError as error:
            raise file_error(error, path, doing) from error

    def _read(self, path: Path) -> bytes:
        try:
            return path.read_bytes()
        except OSError as error:
            raise file_error(error, path, "read the stored picture") from error


def check_pixels(pixels: NDArray[np.uint8]) -> None:
    """Raise ValueError unless the pixels are uint8, (height, width) or (height, width, 3), and not empty."""
    shaped = pixels.ndim == 2 or (pixels.ndim == 3 and pixels.shape[2] == 3)
    if pixels.dtype != np.uint8 or not shaped or pixels.size == 0:
        raise ValueError(f"a picture is uint8, (h, w) or (h, w, 3); this is {pixels.dtype}, {pixels.shape}")


def small(pixels: NDArray[np.uint8], crop: tuple[int, int, int] | None) -> NDArray[np.uint8]:
    """Return a picture cropped and shrunk so that no side is longer than `THUMBNAIL_PX`; never enlarged.

    Parameters
    ----------
    pixels
        uint8, (height, width) or (height, width, 3).
    crop
        Left, top and side of a square in pixels, which may reach beyond the picture; None for the whole
        picture.

    Returns
    -------
    numpy.ndarray
        uint8, of the same number of dimensions.
    """
    if crop is not None:
        left, top, side = crop
        cut = pixels[max(top, 0) : max(top + side, 0), max(left, 0) : max(left + side, 0)]
        pixels = cut if cut.size else pixels
    scale = THUMBNAIL_PX / max(pixels.shape[:2])
    if scale >= 1.0:
        return np.ascontiguousarray(pixels)
    size = (max(round(pixels.shape[1] * scale), 1), max(round(pixels.shape[0] * scale), 1))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def sync_folder(folder: Path) -> None:
    """Force a folder's names to disk, so that a rename survives a power cut; Windows has no such call."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _crop(fit: object) -> tuple[int, int, int] | None:
    if not isinstance(fit, Fit):
        return None
    side = fit.cladding_diameter_px * _CROP_PER_DIAMETER
    numbers = (fit.centre_px[0] - side / 2, fit.centre_px[1] - side / 2, side)
    if not all(math.isfinite(number) for number in numbers):
        return None
    return round(numbers[0]), round(numbers[1]), max(round(side), 1)
