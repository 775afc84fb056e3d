"""`coach serve` and `coach demo`: the server with the phone page."""

from __future__ import annotations

import click


@click.command()
def demo() -> int:
    """x"""
    return 0


@click.command()
def serve() -> int:
    """x"""
    return 0
