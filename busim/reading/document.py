"""A file read into a model, and the way back from any of its values to line and column."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from pydantic import BaseModel, ValidationError

from busim.reading.complaints import complaint, place_of
from busim.reading.problem import MOST_PROBLEMS, InputError, Problem, refused
from busim.reading.source import read_text
from busim.reading.tree import Loc, Positions, Tree, read_tree

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True)
class Document(Generic[M]):
    """`value` is what the file says, `positions` where it says it, `text` the file itself."""

    path: Path
    text: str
    value: M
    positions: Positions

    def problem(self, loc: Loc, words: str) -> Problem:
        """A problem with the value at `loc`."""
        return Problem(self.path, *self.positions.at(loc), words)

    def key_problem(self, loc: Loc, words: str) -> Problem:
        """A problem with the name at `loc` and not with what it stands for."""
        return Problem(self.path, *self.positions.key_at(loc), words)

    def line(self, loc: Loc) -> int:
        return self.positions.at(loc)[0]


def read_document(path: Path, model: type[M], *, what: str) -> Document[M]:
    """The YAML file at `path` as a `model`; `what` is what such a file is called ("boat file").

    Errors: InputError with everything that is wrong: with the file, its YAML, or its shape.
    """
    text = read_text(path, what)
    tree = read_tree(text, path)
    if tree.value is None and not tree.problems:
        raise refused(path, f"is empty but for comments, a {what} was expected")
    try:
        # By way of JSON, because strict models take lists for tuples and text for literals only there.
        value = model.model_validate_json(json.dumps(tree.value))
    except ValidationError as error:
        raise InputError([*tree.problems, *_shape_problems(error, tree, path, model)]) from None
    if tree.problems:
        raise InputError(tree.problems)
    return Document(path, text, value, tree.positions)


def _shape_problems(error: ValidationError, tree: Tree, path: Path, model: type[BaseModel]) -> list[Problem]:
    placed = []
    errors = error.errors(include_url=False)
    faulty = {each["loc"][:length] for each in errors for length in range(len(each["loc"]))}
    for each in errors:
        loc = each["loc"]
        # What was refused as YAML already has its problem, and so has everything below it.
        if any(loc[:length] in tree.spoiled for length in range(len(loc) + 1)):
            continue
        if each["type"] == "too_short" and loc in faulty:
            continue  # items that are wrong were not counted, and have their own problems
        placed.append((place_of(each, tree.positions), each))
    placed.sort(key=lambda pair: pair[0])
    problems = [Problem(path, *place, complaint(each, model)) for place, each in placed[:MOST_PROBLEMS]]
    if rest := placed[MOST_PROBLEMS:]:
        problems.append(Problem(path, *rest[0][0], f"and {len(rest)} more problems from here on"))
    return problems
