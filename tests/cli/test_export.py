"""`busim export` as a person uses it: what is printed, what is written, and one clear line for each mistake."""

import os
from pathlib import Path

import pytest

from busim.boat.shipped import shipped_folder

from .command_line import call_busim

C_FILES = ["busim_boat.c", "busim_boat.h", "busim_protocol.c", "busim_protocol.h", "busim_rules.c", "busim_rules.h"]


def test_c_of_the_whole_boat(own_boat: Path) -> None:
    ended = call_busim("export", "c", folder=own_boat)
    assert (ended.status, ended.err) == (0, "")
    assert ended.lines[0].startswith("boat: ")
    assert ended.lines[1] == "14 files in exported_c:"
    listed = sorted(line.strip() for line in ended.lines[2:])
    written = sorted(str(path.relative_to(own_boat / "exported_c")) for path in (own_boat / "exported_c").rglob("*.*"))
    assert listed == written
    assert set(C_FILES) < set(written)
    assert "engine_room/busim_node.h" in written
    assert call_busim("export", "c", folder=own_boat).status == 0  # ours: written over


def test_c_of_one_node(own_boat: Path) -> None:
    ended = call_busim("export", "c", "boat.yaml", "--node", "engine_room", folder=own_boat)
    assert (ended.status, ended.err, ended.lines[1]) == (0, "", "8 files in exported_c_engine_room:")
    assert "BUSIM_NODE_ADDRESS                           2u" in (own_boat / "exported_c_engine_room" / "busim_node.h").read_text()


def test_vectors_and_database(own_boat: Path) -> None:
    ended = call_busim("export", "vectors", "--to", "deep/er", folder=own_boat)
    assert (ended.status, ended.lines[1:]) == (0, ["2 files in deep/er:", "  vectors.json", "  busim_selftest.c"])
    ended = call_busim("export", "database", folder=own_boat)
    assert (ended.status, ended.lines[1:]) == (0, ["2 files in exported_database:", "  main.dbc", "  main.kcd"])


def test_a_boat_that_ships_is_exported_into_the_current_folder(tmp_path: Path) -> None:
    ended = call_busim("export", "vectors", str(shipped_folder() / "first_boat"), folder=tmp_path)
    assert (ended.status, ended.lines[1]) == (0, "2 files in exported_vectors:")


def test_a_node_that_is_gone_is_named(own_boat: Path) -> None:
    folder = own_boat / "exported_c" / "old_node"
    call_busim("export", "c", folder=own_boat)
    (own_boat / "exported_c" / "wheelhouse").rename(folder)
    ended = call_busim("export", "c", folder=own_boat)
    assert ended.lines[-1] == "left from an earlier export, and not part of this one: old_node/busim_node.h"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("c", "--node", "engine_rom"), 'boat.yaml: has no node called "engine_rom": did you mean engine_room?'),
        (("c", "--node", "x"), 'boat.yaml: has no node called "x": there are: wheelhouse, companionway, lamp_driver, engine_room'),
        (("database", "--node", "engine_room"), "export: --node goes with c"),
        (("protocol", "--to", "x"), "export: protocol is printed, and --to goes with c, vectors, database"),
        (("schema", "--replace"), "export: schema is printed, and --replace goes with c, vectors, database"),
        (("d",), 'export: there is nothing called "d" to export: there is: protocol, schema, c, vectors, database'),
        (("vector",), 'export: there is nothing called "vector" to export: did you mean vectors?'),
        (("c", "--to", "boat.yaml"), "boat.yaml: is a file, a folder was to be written to"),
        (("c", "--to", "boat.yaml/x"), "boat.yaml/x/busim_protocol.h: can't be written: Not a directory"),
        (("c", "elsewhere.yaml"), "elsewhere.yaml: no such file, a boat file was expected"),
    ],
)
def test_mistakes(own_boat: Path, words: tuple[str, ...], said: str) -> None:
    ended = call_busim("export", *words, folder=own_boat)
    assert (ended.status, ended.out) == (2, "")
    (line,) = ended.err.splitlines()
    assert said in line
    assert sorted(os.listdir(own_boat)) == ["boat.yaml", "scenarios"]


def test_no_boat_stands_in_for_one_that_was_not_named(tmp_path: Path) -> None:
    ended = call_busim("export", "c", folder=tmp_path)
    assert (ended.status, ended.err.strip()) == (2, "boat.yaml: no such file here, and no boat was named")
    assert not os.listdir(tmp_path)


def test_files_of_the_builders_own_are_kept(own_boat: Path) -> None:
    call_busim("export", "c", folder=own_boat)
    changed = own_boat / "exported_c" / "busim_boat.c"
    changed.write_text(changed.read_text() + "int mine;\n")
    ended = call_busim("export", "c", folder=own_boat)
    assert ended.status == 2
    assert "busim_boat.c: was changed since it was exported: nothing was written (--replace writes over it)" in ended.err
    assert changed.read_text().endswith("int mine;\n")
    assert call_busim("export", "c", "--replace", folder=own_boat).status == 0
    assert not changed.read_text().endswith("int mine;\n")
