"""Which class plays which kind of node: the table in `nodes`, a builder's own packages, and what the command line replaces.

busim imports no node by name: it finds the package `nodes` and knows it by its marker.
"""

import importlib
from importlib.metadata import entry_points
from typing import Final

from busim.seam import Node

SEAM_VERSION: Final = 1
ENTRY_POINTS: Final = "busim.kinds"


class KindError(Exception):
    """A kind of node can't be had; the message says which and why."""


def load_kinds(replaced: dict[str, str] | None = None) -> dict[str, type[Node]]:
    """Kind -> class. `replaced` maps kinds to `package.module:Class` and goes before everything else."""
    try:
        package = importlib.import_module("nodes")
    except ImportError as error:
        raise KindError(f"the package `nodes` that comes with busim is not there: {error}") from error
    marker = getattr(package, "BUSIM_NODES", None)
    if marker != SEAM_VERSION:
        raise KindError(
            "a package called `nodes` was found that is not busim's (it has no marker BUSIM_NODES of this version): "
            "uninstall it, or use an environment of busim's own"
        )
    places: dict[str, str] = dict(package.KINDS)
    for entry in entry_points(group=ENTRY_POINTS):
        places[entry.name] = entry.value
    places.update(replaced or {})
    return {kind: _find(kind, place) for kind, place in places.items()}


def _find(kind: str, place: str) -> type[Node]:
    module_name, colon, class_name = place.partition(":")
    if not colon or not module_name or not class_name:
        raise KindError(f"kind {kind}: write {place!r} as package.module:Class")
    try:
        module = importlib.import_module(module_name)
    except Exception as error:
        raise KindError(f"kind {kind}: {module_name} can't be imported: {type(error).__name__}: {error}") from error
    found = getattr(module, class_name, None)
    if not isinstance(found, type) or not issubclass(found, Node):
        raise KindError(f"kind {kind}: {module_name} has no node class {class_name}")
    return found
