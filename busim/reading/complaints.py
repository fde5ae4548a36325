"""What pydantic found wrong, in the words of somebody who reads the file and not the program."""

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from busim.reading.problem import nearest, printable, quoted, suggestion
from busim.reading.tree import Loc, Place, Positions

_UNKNOWN_KEY: Final = ("extra_forbidden", "unexpected_keyword_argument")
_MISSING: Final = ("missing", "missing_argument", "missing_keyword_only_argument")
_SECTION: Final = ("model_type", "model_attributes_type", "dict_type", "dataclass_type", "mapping_type", "dataclass_exact_type")
_LIST: Final = ("tuple_type", "list_type", "set_type", "frozen_set_type")
_BOUNDS: Final = {
    "less_than": ("too large", "less than", "lt"),
    "less_than_equal": ("too large", "at most", "le"),
    "greater_than": ("too small", "more than", "gt"),
    "greater_than_equal": ("too small", "at least", "ge"),
}
_ALMOST_TRUE_OR_FALSE: Final = ("yes", "no", "on", "off", "true", "false", "y", "n")


def place_of(error: ErrorDetails, positions: Positions) -> Place:
    """Where the problem stands: at the key where that is wrong and not its value."""
    loc = error["loc"]
    if error["type"] in _UNKNOWN_KEY or loc[-1:] == ("[key]",):
        return positions.key_at(loc)
    if error["type"] == "union_tag_invalid":
        return positions.at((*loc, _discriminator(error)))
    return positions.at(loc)


def complaint(error: ErrorDetails, model: Any) -> str:
    """One pydantic error of reading a `model`, in a builder's words."""
    kind, loc, given = error["type"], error["loc"], error["input"]
    context: dict[str, Any] = error.get("ctx", {})
    last = _name_of(loc)
    if kind in _UNKNOWN_KEY:
        return f"unknown key {quoted(last)}: {suggestion(last, dict(_keys(model, loc[:-1])))}"
    if kind in _MISSING:
        description = dict(_keys(model, loc[:-1])).get(last, "")
        return f"{printable(last)} is missing" + (f": {description}" if description else "")
    if kind == "union_tag_not_found":
        return f"{_discriminator(error)} is missing"
    if kind == "union_tag_invalid":
        return f"{_discriminator(error)}: {_choice(str(context['tag']), str(context['expected_tags']))}"
    if loc[-1:] == ("[key]",):
        return f"the name {quoted(last)} can't be used: {_value_words(kind, given, context)}"
    words = _value_words(kind, given, context) or error["msg"]
    return f"{printable(last)}: {words}" if last else words


def _discriminator(error: ErrorDetails) -> str:
    """The key by whose value a member of a union is chosen; pydantic gives it in quotes."""
    return str(error["ctx"]["discriminator"]).strip("'")


def _value_words(kind: str, given: Any, context: dict[str, Any]) -> str:
    if kind in _BOUNDS:
        size, relation, key = _BOUNDS[kind]
        return f"{_number(given)} is {size}, {relation} {_number(context[key])}"
    if kind in ("int_type", "int_from_float", "int_parsing", "int_parsing_size"):
        if isinstance(given, float) and given.is_integer() and abs(given) < 1e15:
            return f"a whole number is wanted: write {int(given)}"
        return _mismatch(given, "a whole number is wanted")
    if kind in ("float_type", "float_parsing", "finite_number"):
        return _mismatch(given, "a number is wanted")
    if kind == "bool_type":
        if isinstance(given, str) and given.lower() not in _ALMOST_TRUE_OR_FALSE:
            return f"true or false is wanted, not {quoted(given)}"
        return f"write true or false, not {_shown(given)}"
    if kind == "string_type":
        return _mismatch(given, "text is wanted") + (": put it in quotes" if isinstance(given, bool | int | float) else "")
    if kind in _SECTION:
        return _mismatch(given, "a section of names and values is wanted")
    if kind in _LIST:
        return _mismatch(given, "a list is wanted")
    if kind == "literal_error":
        return _choice(given, str(context["expected"]))
    if kind == "string_too_short":
        return "is empty" if given == "" else f"{quoted(str(given))} is too short, at least {context['min_length']} characters"
    if kind == "string_too_long":
        return f"{quoted(str(given), 20)} is too long, at most {context['max_length']} characters"
    if kind == "too_short":
        return f"{context['actual_length']} given, at least {context['min_length']} wanted"
    if kind == "too_long":
        return f"{context['actual_length']} given, at most {context['max_length']} wanted"
    if kind == "string_pattern_mismatch":
        return f"{_shown(given)} is not written as it must be ({context['pattern']})"
    if kind in ("value_error", "assertion_error"):
        return str(context["error"])
    return ""


def _mismatch(given: Any, wanted: str) -> str:
    if isinstance(given, str):
        if "number" in wanted and re.fullmatch(r"[-+]?[0-9]*\.?[0-9]+", given):
            return f"{wanted}, not text: write {printable(given[:20])} without quotes"
        return f"{wanted}, not {quoted(given)}"
    return f"{wanted}, not {_shown(given)}"


def _choice(given: Any, expected: str) -> str:
    options = [first or second for first, second in re.findall(r"'([^']*)'|(\d+)", expected)]
    if not isinstance(given, str):
        return f"{_shown(given)} is not possible: one of {', '.join(options)}"
    near = nearest(given, options)
    meant = f"did you mean {near}?" if near is not None else f"one of {', '.join(options)}"
    return f"{quoted(given)} is not possible: {meant}"


def _shown(given: Any) -> str:
    if given is None:
        return "nothing"
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(given, int | float):
        return _number(given)
    if isinstance(given, str):
        return quoted(given)
    return "a section" if isinstance(given, dict) else "a list"


def _number(value: Any) -> str:
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value) if abs(value) < 10**15 else f"a number of {len(str(abs(value)))} digits"
    if isinstance(value, float):
        return f"{value:.15g}".replace("inf", ".inf").replace("nan", ".nan")
    return str(value)


def _name_of(loc: tuple[int | str, ...]) -> str:
    """The last key of `loc`, and for items of a list which one, counted from 1."""
    steps = [step for step in loc if step != "[key]"]
    if not steps:
        return ""
    if isinstance(steps[-1], str):
        return steps[-1]
    return f"{_name_of(tuple(steps[:-1]))}, item {steps[-1] + 1}".removeprefix(", ")


def _keys(model: Any, loc: Loc) -> Iterator[tuple[str, str]]:
    """(key, description) of what may stand in the section at `loc` of a `model`."""
    for annotation in _annotations(model, loc):
        if _is_model(annotation):
            for name, information in annotation.model_fields.items():
                yield name, information.description or ""
        elif is_dataclass(annotation):
            for each in fields(annotation):
                yield each.name, ""


def _annotations(model: Any, loc: Loc) -> list[Any]:
    reached = _plain_types(model)
    for step in loc:
        below = [inner for outer in reached for inner in _below(outer, step)]
        tagged = [outer for outer in reached if _is_model(outer) and _has_tag(outer, step)]
        reached = below or tagged or reached
    return reached


def _below(annotation: Any, step: str | int) -> list[Any]:
    if _is_model(annotation):
        return _plain_types(annotation.model_fields[step].annotation) if step in annotation.model_fields else []
    if is_dataclass(annotation):
        return _plain_types(get_type_hints(annotation).get(str(step)))
    arguments = get_args(annotation)
    if get_origin(annotation) is dict and isinstance(step, str):
        return _plain_types(arguments[1])
    if get_origin(annotation) in (tuple, list) and isinstance(step, int) and arguments:
        return _plain_types(arguments[0])
    return []


def _plain_types(annotation: Any) -> list[Any]:
    """`annotation` without Annotated and Optional; each member of a union by itself."""
    if get_origin(annotation) is Annotated:
        return _plain_types(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        return [inner for member in get_args(annotation) for inner in _plain_types(member)]
    return [] if annotation in (None, NoneType) else [annotation]


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _has_tag(model: Any, tag: str | int) -> bool:
    """True where pydantic names this member of a union by `tag`: its own name, or the value of one of its literals."""
    return model.__name__ == tag or any(
        get_origin(information.annotation) is Literal and tag in get_args(information.annotation)
        for information in model.model_fields.values()
    )
