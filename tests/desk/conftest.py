"""Bundles for the desk, as those of the bundle's own tests."""

from __future__ import annotations

from tests.bundle.conftest import good, stored

__all__ = ["good", "stored"]
