"""Turns what pydantic found into lines for a person: key, value, what is allowed."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Iterable
from typing import Any

from pydantic import BaseModel, ValidationError

from steer.drivefile.fields import Kind, Word

_TABLE = "must be a table of keys"


def shown(value: object) -> str:
    """A value as TOML writes it, cut short when it is long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return shorten('"' + "".join(c if c.isprintable() else repr(c)[1:-1] for c in value) + '"')
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return shorten("[" + ", ".join(shown(item) for item in value[:40]) + "]")
    try:
        return shorten(str(value))
    except ValueError:  # Python refuses to write out whole numbers of thousands of digits
        return "a number of thousands of digits"


def shorten(text: str, longest: int = 80) -> str:
    """The text, or its beginning."""
    return text if len(text) <= longest else text[: longest - 1] + "…"


def place(location: Iterable[object]) -> str:
    """A key's path as a person finds it: `axis.horizontal, element 2, radius_m`."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f", element {part + 1}"
        else:
            text += (", " if ", element" in text else "." if text else "") + str(part)
    return text


def lines(error: ValidationError, model: type[BaseModel], within: tuple[str, ...] = ()) -> list[str]:
    """One line for each problem in `error`, which came from `model` read at the key path `within`."""
    items = error.errors(include_url=False)
    missing = {item["loc"] for item in items if item["type"] == "missing"}
    return [
        _line(item, model, within, missing)
        for item in items
        # pydantic also calls a list too short when what is in it is wrong
        if not (item["type"] == "too_short" and item["input"])
    ]


def _line(item: Any, model: type[BaseModel], within: tuple[str, ...], missing: set[tuple[Any, ...]]) -> str:
    owner, location = _walk(model, item["loc"])
    context = item.get("ctx", {})
    where = place((*within, *location, *([context["key"]] if context.get("key") else [])))
    kind = item["type"]
    if kind == "missing":
        return f"{where}: missing: {allowed(owner, str(location[-1]))}"
    if kind == "extra_forbidden":
        beside = [str(loc[-1]) for loc in missing if loc[:-1] == item["loc"][:-1]]
        return f"{where}: unknown key{_nearest(str(location[-1]), owner.model_fields, beside)}"
    value = context.get("value")
    given = value if isinstance(value, str) else shown(item["input"] if value is None else value)
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        tags = [_tag(m) for m in _models(owner.model_fields[str(location[-2])].annotation)]
        must = Word(tuple(tags)).allowed
        if kind == "union_tag_not_found":
            return f"{where}, kind: missing: {must}"
        return f"{where}, kind: {shown(item['input'].get('kind'))} is not allowed: {must}"
    if kind == "not_allowed":
        must = context["allowed"]
    elif kind in ("model_type", "dict_type", "model_attributes_type"):
        must = _TABLE
    elif kind in ("tuple_type", "too_short", "too_long"):
        must = "must be a list of 1 to 10000 tables"
    else:
        must = item["msg"][0].lower() + item["msg"][1:]
    return f"{where}: {given} is not allowed: {must}"


def _nearest(key: str, known: Iterable[str], missing: list[str]) -> str:
    """The key that may be meant: rather one that is missing than one that is there."""
    names = list(known)
    near = difflib.get_close_matches(key, missing, n=1, cutoff=0.6)
    near = near or difflib.get_close_matches(key, names, n=1, cutoff=0.6)
    if near:
        return f": is {near[0]} meant?"
    return ": known here are " + ", ".join(names) if names else ""


def _walk(model: type[BaseModel], location: tuple[Any, ...]) -> tuple[type[BaseModel], tuple[Any, ...]]:
    """The model that owns the last key of `location`, and the location without pydantic's union tags."""
    owner, kept = model, list[Any]()
    choices: list[type[BaseModel]] = [model]  # what the value at the present place may be
    for part in location:
        if isinstance(part, int):
            kept.append(part)
            continue
        if len(choices) > 1 and isinstance(kept[-1], int):  # pydantic names the kind of element here
            choices = [choice for choice in choices if _tag(choice) == part]
            continue
        owner = choices[0] if choices else owner
        field = owner.model_fields.get(part)
        choices = _models(field.annotation) if field else []
        kept.append(part)
    return owner, tuple(kept)


def _tag(model: type[BaseModel]) -> str:
    """The word under `kind` by which an element of this model is known."""
    kind = model.model_fields.get("kind")
    words = typing.get_args(kind.annotation) if kind else ()
    return str(words[0]) if words else ""


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for argument in typing.get_args(annotation) for model in _models(argument)]


def allowed(owner: type[BaseModel], key: str) -> str:
    """What a key of `owner` may be, in words."""
    field = owner.model_fields.get(key)
    for kind in field.metadata if field else ():
        if isinstance(kind, Kind):
            return kind.allowed
    found = _models(field.annotation) if field else []
    if key in ("horizontal", "vertical"):
        return "must be a list of tables"
    if found:
        return f"{_TABLE}: {', '.join(found[0].model_fields)}"
    return "must be there"
