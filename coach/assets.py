"""Where the page, its borrowed parts and bundled drives lie: in a checkout beside `coach/`, in a wheel inside it."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def _root(name: str, package: Path) -> Path:
    inside = package / name
    return inside if inside.is_dir() else package.parent / name


def web_root(package: Path = _HERE) -> Path:
    """The folder that the server serves: `index.html` and its modules."""
    return _root("web", package)


def vendor_root(package: Path = _HERE) -> Path | None:
    """The folder with uPlot and the font, or None where the build could not fetch them (then: no plots)."""
    folder = web_root(package) / "vendor"
    return folder if (folder / "vendor.json").is_file() else None


def traces_root(package: Path = _HERE) -> Path:
    """The folder with the bundled drives and the recipes that go with them."""
    return _root("replay_traces", package)
