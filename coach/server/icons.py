"""Draws the page's icons as PNG, from the shapes of icon.svg: `python -m coach.server.icons web/icons`.

The files are kept in the repository; a test holds them to this drawing. The server itself never runs it.
"""

from __future__ import annotations

import struct
import sys
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

GROUND, HELD, LANE, INK = (0xEE, 0xF3, 0xF1), (0x0B, 0x55, 0x67), (0xC3, 0xDC, 0xDD), (0x08, 0x22, 0x2A)
SIDE = 32.0
"""Shapes are in units of icon.svg, which is 32 wide."""
ICONS = {
    "icon-192.png": (192, 1.0), "icon-512.png": (512, 1.0),
    "maskable-512.png": (512, 0.66), "touch-180.png": (180, 0.86),
}  # fmt: skip
"""File: side in pixels, and how large the drawing is in it. A mask may cut everything outside a circle of 80 % of the
side (W3C Web Application Manifest, section on the purpose `maskable`): the drawing's corners stay inside it."""
FINE = 4
"""Each pixel is the mean of this many points squared."""


def draw(side: int, scale: float) -> NDArray[np.uint8]:
    """The icon as an array of shape (side, side, 3); red, green, blue, 0 to 255."""
    points = (np.arange(side * FINE) + 0.5) / (side * FINE) * SIDE
    points = (points - SIDE / 2) / scale + SIDE / 2
    x, y = points[None, :], points[:, None]
    # The lane goes on to both edges of the picture, also where a mask lets more of it be seen.
    lane = (y >= 9) & (y < 23)
    layers = (
        (lane & (x < 18), HELD),
        (lane & (x >= 18) & (x < 27), LANE),
        ((y >= 6) & (y < 26) & (x >= 27) & (x < 30), INK),
        (np.hypot(x - 18, y - 16) < 6, INK),
        (np.hypot(x - 18, y - 16) < 3, GROUND),
    )
    fine = np.empty((side * FINE, side * FINE, 3))
    fine[:] = GROUND
    for where, colour in layers:
        fine[np.broadcast_to(where, fine.shape[:2])] = colour
    means = fine.reshape(side, FINE, side, FINE, 3).mean(axis=(1, 3))
    pixels: NDArray[np.uint8] = np.rint(means).astype(np.uint8)
    return pixels


def png(pixels: NDArray[np.uint8]) -> bytes:
    """A PNG file (ISO/IEC 15948) of pixels with shape (height, width, 3)."""
    height, width, _ = pixels.shape
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(rows, 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )


def main(arguments: Sequence[str]) -> int:
    """Writes every icon into the folder named."""
    folder = Path(arguments[0])
    folder.mkdir(parents=True, exist_ok=True)
    for name, (side, scale) in ICONS.items():
        (folder / name).write_bytes(png(draw(side, scale)))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
