"""Files that are named like pictures and can't be graded, each with a word that its error must hold."""

import io
import struct
import zlib
from pathlib import Path

import numpy as np
from PIL import Image


def _encoded(image: Image.Image, kind: str, **options: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


def grey(width: int = 96, height: int = 80, level: int = 0) -> Image.Image:
    return Image.fromarray(np.full((height, width), level, np.uint8))


def png_chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def huge_png(side: int = 30_000) -> bytes:
    """A PNG whose header promises a huge picture, with next to nothing in it (ISO/IEC 15948)."""
    header = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + png_chunk(b"IHDR", header)
        + png_chunk(b"IDAT", zlib.compress(b"\0" * 64))
        + png_chunk(b"IEND", b"")
    )


def odd_files() -> dict[str, tuple[bytes, str]]:
    """Return contents and a word of the error by file name."""
    rng = np.random.default_rng(1)
    noise = Image.fromarray(rng.integers(0, 256, (200, 200), np.uint8))
    sixteen = Image.fromarray(rng.integers(0, 65536, (100, 100), np.uint16))
    png = _encoded(noise, "PNG")
    frames = [grey(level=level) for level in (0, 90, 180)]
    return {
        "truncated.png": (png[: len(png) // 2], "cut short"),
        "truncated.jpg": (_encoded(noise, "JPEG")[:2000], "cut short"),
        "renamed.png": (_encoded(noise, "JPEG"), "JPEG"),
        "text.png": (b"This is no picture at all.\n", "text.png"),
        "one_pixel.png": (_encoded(grey(1, 1), "PNG"), "1"),
        "sixteen_bit.png": (_encoded(sixteen, "PNG"), "8"),
        "alpha.png": (_encoded(noise.convert("RGBA"), "PNG"), "transparency"),
        "cmyk.jpg": (_encoded(noise.convert("CMYK"), "JPEG"), "CMYK"),
        "animated.png": (_encoded(frames[0], "PNG", save_all=True, append_images=frames[1:]), "animated.png"),
        "animated.webp": (
            _encoded(frames[0], "WEBP", save_all=True, append_images=frames[1:]),
            "animated.webp",
        ),
        "huge.png": (huge_png(), "30000"),
        "empty.png": (b"", "empty"),
    }


def write_good(path: Path, level: int = 0) -> Path:
    """A picture that can be read, and is quickly found unreadable."""
    grey(level=level).save(path)
    return path
