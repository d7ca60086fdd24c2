"""Picture files. The files are made with Pillow, and what is read is compared with OpenCV's own reader."""

import os
import struct
import zlib
from contextlib import suppress
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from workstation.frames import PictureError, list_pictures, read_picture
from workstation.frames.pictures import LARGEST_PX


def scene(height: int = 96, width: int = 131) -> NDArray[np.uint8]:
    """Return a colour picture in which no two axes or channels can be mistaken for each other."""
    y, x = np.mgrid[:height, :width]
    return np.dstack([x, y, (x + 2 * y) // 2]).astype(np.uint8)


def png_that_says(width: int, height: int) -> bytes:
    """Return a PNG whose header (ISO/IEC 15948, 11.2.2) states a size that its data don't have."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 100))
        + chunk(b"IEND", b"")
    )


def refusal(path: Path) -> str:
    with pytest.raises(PictureError) as caught:
        read_picture(path)
    assert caught.value.path == path
    assert str(path) in caught.value.sentence
    assert caught.value.sentence.endswith(".")
    return caught.value.sentence


@pytest.mark.parametrize("ending", [".png", ".bmp", ".tif", ".tiff", ".webp", ".jpg", ".jpeg", ".PNG"])
def test_colour_files_read_as_opencv_reads_them(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"face{ending}"
    Image.fromarray(scene()).save(path, **({"lossless": True} if ending == ".webp" else {}))
    picture = read_picture(path)
    assert picture.dtype == np.uint8
    assert picture.flags.c_contiguous
    np.testing.assert_array_equal(picture, cv2.imread(str(path), cv2.IMREAD_COLOR))
    if ending not in (".jpg", ".jpeg"):
        np.testing.assert_array_equal(picture[..., ::-1], scene())


@pytest.mark.parametrize("ending", [".png", ".bmp", ".tif", ".jpg"])
def test_grey_files_stay_grey(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"face{ending}"
    Image.fromarray(scene()[..., 0]).save(path)
    picture = read_picture(path)
    assert picture.shape == (96, 131)
    np.testing.assert_array_equal(picture, cv2.imread(str(path), cv2.IMREAD_GRAYSCALE))


def test_a_colour_file_of_greys_stays_colour(tmp_path: Path) -> None:
    path = tmp_path / "face.png"
    Image.fromarray(np.repeat(scene()[..., :1], 3, axis=2)).save(path)
    assert read_picture(path).shape == (96, 131, 3)


def test_a_palette_without_transparency_is_looked_up(tmp_path: Path) -> None:
    path = tmp_path / "face.png"
    palette = Image.fromarray(scene()).quantize(64)
    palette.save(path)
    np.testing.assert_array_equal(read_picture(path)[..., ::-1], np.asarray(palette.convert("RGB")))


def test_the_orientation_mark_is_followed(tmp_path: Path) -> None:
    """Value 6 means: turn by 90 degrees clockwise to see it upright (EXIF 2.32, tag 0x0112)."""
    path = tmp_path / "face.png"
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.fromarray(scene()).save(path, exif=exif)
    np.testing.assert_array_equal(read_picture(path)[..., ::-1], np.rot90(scene(), -1))


@pytest.mark.parametrize("ending", [".png", ".bmp", ".tif", ".webp", ".jpg"])
@pytest.mark.parametrize("part", [0.1, 0.5, 0.9])
def test_a_file_that_was_cut_short_is_refused(tmp_path: Path, ending: str, part: float) -> None:
    path = tmp_path / f"face{ending}"
    noise = np.random.default_rng(3).integers(0, 255, (100, 100, 3), dtype=np.uint8)
    Image.fromarray(noise).save(path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * part)])
    assert "damaged or cut short" in refusal(path)


def test_a_renamed_file_is_refused_with_both_formats_named(tmp_path: Path) -> None:
    path = tmp_path / "face.jpg"
    Image.fromarray(scene()).save(path, format="PNG")
    sentence = refusal(path)
    assert "renamed" in sentence
    assert "JPEG" in sentence
    assert "PNG" in sentence


@pytest.mark.parametrize("side", [(1, 1), (63, 200), (200, 63)])
def test_a_tiny_picture_is_refused(tmp_path: Path, side: tuple[int, int]) -> None:
    path = tmp_path / "face.png"
    Image.new("L", side).save(path)
    sentence = refusal(path)
    assert f"{side[0]} × {side[1]}" in sentence
    assert "64" in sentence


@pytest.mark.parametrize("ending", [".png", ".tif"])
def test_sixteen_bits_are_refused(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"face{ending}"
    for shape in ((96, 96), (96, 96, 3)):
        cv2.imwrite(str(path), np.full(shape, 40_000, np.uint16))
        assert "8 bits" in refusal(path)


@pytest.mark.parametrize("mode", ["RGBA", "LA"])
def test_transparency_is_refused(tmp_path: Path, mode: str) -> None:
    path = tmp_path / "face.png"
    Image.new(mode, (96, 96)).save(path)
    assert "alpha" in refusal(path)


def test_a_transparent_palette_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "face.png"
    Image.fromarray(scene()).quantize(16).save(path, transparency=0)
    assert "alpha" in refusal(path)


def test_transparency_in_webp_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "face.webp"
    Image.new("RGBA", (96, 96), (1, 2, 3, 100)).save(path)
    assert "alpha" in refusal(path)


@pytest.mark.parametrize("ending", [".jpg", ".tif"])
def test_printing_colours_are_refused(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"face{ending}"
    Image.new("CMYK", (96, 96)).save(path)
    assert "CMYK" in refusal(path)


@pytest.mark.parametrize("ending", [".png", ".webp", ".tif"])
def test_animations_and_several_pages_are_refused(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"face{ending}"
    pages = [Image.new("RGB", (96, 96), colour) for colour in ("red", "green", "blue")]
    pages[0].save(path, save_all=True, append_images=pages[1:])
    assert "several pages (3)" in refusal(path)


def test_an_animated_gif_is_refused_by_name_of_its_format(tmp_path: Path) -> None:
    path = tmp_path / "face.gif"
    pages = [Image.new("L", (96, 96), value) for value in (0, 255)]
    pages[0].save(path, save_all=True, append_images=pages[1:])
    assert "GIF" in refusal(path)


def test_an_enormous_picture_is_refused_by_its_header(tmp_path: Path) -> None:
    path = tmp_path / "face.png"
    path.write_bytes(png_that_says(30_000, 30_000))
    sentence = refusal(path)
    assert "30000 × 30000" in sentence
    assert f"{LARGEST_PX // 1_000_000} megapixels" in sentence


def test_an_enormous_webp_is_refused_by_its_header(tmp_path: Path) -> None:
    path = tmp_path / "face.webp"
    Image.new("RGB", (96, 96)).save(path, lossless=True)
    data = bytearray(path.read_bytes())
    # VP8L holds width - 1 and height - 1 in 14 bits each, after its signature byte (RFC 9649, 3.4).
    data[21:25] = (16_382 | 16_382 << 14).to_bytes(4, "little")
    path.write_bytes(data)
    assert "16383 × 16383" in refusal(path)


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "face.png"
    path.touch()
    assert "0 bytes" in refusal(path)


def test_something_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "face.png"
    path.write_text("This is a shopping list.")
    assert "isn't a picture" in refusal(path)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    assert "no file" in refusal(tmp_path / "face.png")


def test_a_folder_is_refused(tmp_path: Path) -> None:
    assert "folder" in refusal(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "face.png"
    os.mkfifo(path)
    assert "pipe" in refusal(path)


def test_a_file_without_permission_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "face.png"
    Image.fromarray(scene()).save(path)
    path.chmod(0)
    if os.access(path, os.R_OK):  # as root, or on Windows

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refuse)
    assert "may not be read" in refusal(path)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_damage_anywhere_gives_a_picture_or_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    ending = data.draw(st.sampled_from([".png", ".jpg", ".bmp", ".tif", ".webp"]))
    path = tmp_path_factory.mktemp("damaged") / f"face{ending}"
    Image.fromarray(scene(70, 70)).save(path)
    content = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 6))):
        where = data.draw(st.integers(0, min(len(content), 400) - 1))
        content[where] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    with suppress(PictureError):
        assert read_picture(path).dtype == np.uint8


def test_pictures_in_a_folder_come_in_natural_order_whatever_their_case(tmp_path: Path) -> None:
    names = ["port10.png", "Port2.PNG", "port1.tif", "a.jpg", "B.bmp", "port02.png"]
    for name in [*names, "notes.txt", ".hidden.png", "truth.json"]:
        (tmp_path / name).touch()
    (tmp_path / "folder.png").mkdir()
    listed = [path.name for path in list_pictures([tmp_path])]
    assert listed == ["a.jpg", "B.bmp", "port1.tif", "Port2.PNG", "port02.png", "port10.png"]


def test_paths_keep_the_order_in_which_they_were_given(tmp_path: Path) -> None:
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "1.png").touch()
    paths = [tmp_path / "z.png", tmp_path / "x", tmp_path / "missing.dat"]
    assert list_pictures(paths) == (tmp_path / "z.png", tmp_path / "x" / "1.png", tmp_path / "missing.dat")
