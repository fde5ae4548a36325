"""The files of each export in C, as path in the folder -> text."""

from importlib.resources import files
from typing import Final

from busim.boat.load import LoadedBoat
from busim.export.c_boat import boat_header, boat_source
from busim.export.c_node import NodeOf, node_header, node_source
from busim.export.c_protocol import protocol_header, protocol_source
from busim.export.vectors import vectors_text
from busim.export.vectors_c import selftest_source
from busim.export.written import MARK

CAUTION: Final = (
    "busim designs and tests; it is never part of a boat's control system. Code that compiles is no proof: show each node on the "
    "bench and aboard, propeller clear or shaft disconnected, boat secured, somebody at a cut-off of actuator power, and a means "
    "to stop each engine that needs no bus. Local rules, class, insurer and a qualified surveyor come first."
)


def c_files(boat: LoadedBoat, node: str | None) -> dict[str, str]:
    """Path in the folder -> text. With `node`, all its files stand together; else each node has a folder of its name."""
    title, plan = boat.boat.boat.name, boat.plan
    every = {
        "busim_protocol.h": protocol_header(_head("The protocol: ids, messages, CRC, lists of values, state tables, alarms.")),
        "busim_protocol.c": protocol_source(_head("The protocol: see busim_protocol.h.")),
        "busim_boat.h": boat_header(boat.boat, plan, _head(f"The boat {title}: every value her nodes are built with.")),
        "busim_boat.c": boat_source(plan, title, _head(f"The boat {title}: see busim_boat.h.")),
        "busim_rules.h": fixed("busim_rules.h"),
        "busim_rules.c": fixed("busim_rules.c"),
    }
    for name in [node] if node is not None else boat.boat.nodes:
        this = NodeOf(boat.boat, plan, name)
        folder = "" if node is not None else f"{name}/"
        every[f"{folder}busim_node.h"] = node_header(this, _head(f"The node {name} of the boat {title}."))
        every[f"{folder}busim_node.c"] = node_source(this, _head(f"The node {name} of the boat {title}: see busim_node.h."))
    return every


def vector_files(boat: LoadedBoat) -> dict[str, str]:
    """The vectors as data, and as a C program that holds the exported C against them."""
    title = boat.boat.boat.name
    return {"vectors.json": vectors_text(boat.plan, title), "busim_selftest.c": selftest_source(boat.plan, title)}


def fixed(name: str) -> str:
    """A file that is the same for every boat, and written by hand."""
    text = (files("busim.export") / "fixed" / name).read_text(encoding="utf-8")
    return text.replace("/* ", f"/* {MARK}\n * ", 1)


def _head(words: str) -> str:
    return f"{MARK}\n{words}\nC99: no heap, no floating point, nothing but the headers named below.\n{CAUTION}"
