"""The resolved plan and catalogue as JSON and back, so that a later default never changes an old verdict."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields, is_dataclass
from importlib import import_module
from typing import Any, cast, get_type_hints

from pydantic import TypeAdapter, ValidationError

from coach.core.derive import Derivation
from coach.core.spec import Capture, Facts, JudgePlan
from coach.errors import StoreError
from coach.signals import Catalogue, Signal


def dump_plan(plan: JudgePlan) -> str:
    """The plan as JSON text; infinities are written as `Infinity`, which Python reads back."""
    return json.dumps(
        {
            "rules": plan.rules,
            "captures": [asdict(c) for c in plan.captures],
            "facts": {name: asdict(f) for name, f in plan.facts.items()},
            "fresh_us": dict(plan.fresh_us),
            "derivations": [_dump_derivation(d) for d in plan.derivations],
        },
        separators=(",", ":"),
    )


def load_plan(text: str) -> JudgePlan:
    """What `dump_plan` wrote. Raises StoreError when this version cannot read it."""
    try:
        data = json.loads(text)
        return JudgePlan(
            captures=TypeAdapter(tuple[Capture, ...]).validate_python(data["captures"]),
            facts=TypeAdapter(dict[str, Facts]).validate_python(data["facts"]),
            derivations=tuple(_load_derivation(d) for d in data["derivations"]),
            fresh_us=TypeAdapter(dict[str, int]).validate_python(data["fresh_us"]),
            rules=int(data["rules"]),
        )
    except (ValueError, KeyError, TypeError, ImportError, AttributeError, ValidationError) as error:
        raise StoreError("the plan that is stored with the drive cannot be read by this version") from error


def dump_catalogue(catalogue: Catalogue) -> str:
    """The catalogue as JSON text."""
    return json.dumps([asdict(signal) for signal in catalogue], separators=(",", ":"))


def load_catalogue(text: str) -> Catalogue:
    """What `dump_catalogue` wrote. Raises StoreError when this version cannot read it."""
    try:
        return Catalogue.of(TypeAdapter(list[Signal]).validate_json(text))
    except (ValueError, ValidationError) as error:
        raise StoreError("the catalogue that is stored with the drive cannot be read by this version") from error


def _dump_derivation(derivation: Derivation) -> dict[str, Any]:
    kind = type(derivation)
    if not hasattr(kind, "__dataclass_fields__"):
        raise StoreError(f"the derivation of {derivation.name} cannot be stored: {kind.__name__} is no dataclass")
    given = {f.name: _plain(getattr(derivation, f.name)) for f in fields(cast("Any", kind)) if f.init}
    return {"kind": f"{kind.__module__}:{kind.__qualname__}", "given": given}


def _load_derivation(data: dict[str, Any]) -> Derivation:
    module, _, name = str(data["kind"]).partition(":")
    # The database is a person's file: it may name classes of this program and no others.
    if not module.startswith("coach."):
        raise ValueError(f"{module} is none of this program's modules")
    kind: Any = getattr(import_module(module), name)
    if not (is_dataclass(kind) and hasattr(kind, "stepper") and hasattr(kind, "array")):
        raise ValueError(f"{name} is no derivation")
    hints = get_type_hints(kind)
    given = {k: TypeAdapter(hints[k]).validate_python(v) for k, v in data["given"].items()}
    made: Any = kind
    return cast("Derivation", made(**given))


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(v) for v in value]
    return value
