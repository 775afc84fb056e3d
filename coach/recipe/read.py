"""Read a recipe: the one way from a file or a text to what is asked for."""

from __future__ import annotations

from pathlib import Path as FilePath

from coach.catalogue import default_catalogue
from coach.errors import RecipeError
from coach.recipe.check import check_recipe
from coach.recipe.findings import Finding, RecipeErrors
from coach.recipe.recipe import Recipe
from coach.recipe.resolve import resolve_file
from coach.recipe.shape import MAX_BYTES, read_data, shape
from coach.signals import Catalogue


def load_recipe(path: str | FilePath, catalogue: Catalogue | None = None) -> Recipe:
    """The recipe in a file, TOML or JSON.

    Raises:
        RecipeError: the file cannot be read, or is no recipe (`RecipeErrors` with all that is wrong with it).
    """
    return parse_recipe(read_bytes(path), name=FilePath(path).name, catalogue=catalogue)


def read_bytes(path: str | FilePath) -> bytes:
    """The bytes of a recipe file; of one too large only so many that it is refused.

    Raises:
        RecipeError: the file cannot be read.
    """
    file = FilePath(path)
    try:
        with file.open("rb") as stream:
            return stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise RecipeError("there is no such file", where=str(file)) from None
    except IsADirectoryError:
        raise RecipeError("is a folder; a recipe is a TOML or JSON file", where=str(file)) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise RecipeError(f"cannot be read: {reason}", where=str(file)) from None


def parse_recipe(source: str | bytes, *, name: str = "recipe", catalogue: Catalogue | None = None) -> Recipe:
    """The recipe in a text, TOML or JSON, with quantities in the catalogue's units.

    It loads; whether it can be met is for `check_recipe`.

    Args:
        source: the text; as bytes, just as received, its digest is that of the file.
        name: what errors call it.
        catalogue: the signals there are; the default ones if left out.

    Raises:
        RecipeError: no recipe (`RecipeErrors` with all that is wrong with it).
    """
    recipe, findings = _parse(source, name, catalogue or default_catalogue())
    if findings or recipe is None:
        raise RecipeErrors(name, findings)
    return recipe


def examine(
    source: str | bytes, *, name: str = "recipe", catalogue: Catalogue | None = None
) -> tuple[Recipe | None, list[Finding]]:
    """Everything that is wrong with a recipe in one look: shape, units, signals and what the check finds.

    Returns:
        The recipe, or None when it does not load, and all findings by line. What the check finds in a capture that
        does not load is left out.

    Raises:
        RecipeError: neither TOML nor JSON.
    """
    catalogue = catalogue or default_catalogue()
    recipe, findings = _parse(source, name, catalogue)
    if recipe is None:
        return None, findings
    spoilt = {f.path[1] for f in findings if f.path[:1] == ("capture",) and len(f.path) > 1}
    whole_file = any(f.path[:1] == ("record",) for f in findings)
    checked = [
        f for f in check_recipe(recipe, catalogue)
        if not (f.path[:1] == ("capture",) and len(f.path) > 1 and f.path[1] in spoilt)
        and not (whole_file and f.code in ("not_recorded", "nothing_recorded"))
    ]  # fmt: skip
    loads = not findings
    every = sorted([*findings, *checked], key=lambda f: (f.line or 0, f.level))
    return (recipe if loads else None), every


def _parse(source: str | bytes, name: str, catalogue: Catalogue) -> tuple[Recipe | None, list[Finding]]:
    """The recipe as far as it can be understood, and what cannot."""
    received = source.encode(errors="surrogatepass") if isinstance(source, str) else source
    data, lines = read_data(received, name)
    file, findings = shape(data, lines)
    if file is None:
        return None, findings
    recipe, more = resolve_file(file, data, lines, received, name, catalogue)
    return recipe, sorted([*findings, *more], key=lambda f: f.line or 0)
