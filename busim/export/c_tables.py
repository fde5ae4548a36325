"""Lists of values, state tables and alarms in C: constants for people, and the tables for the program."""

from collections.abc import Iterator
from typing import Final

from busim.export.c_text import Names, array, c_word, comment, heading, macro, truth, unsigned
from busim.protocol import alarms, values
from busim.protocol.catalogue import MESSAGES
from busim.protocol.tables import TABLES, StateTable

STATE_TABLES: Final = (*TABLES, alarms.ALARM_TABLE)

LIST_NAMES: Final = {
    values.GEARS: "gear", values.SWITCHES: "switch", values.CAUSES: "cause", values.ENGINE_STATES: "engine",
    values.DRIVE_FAULTS: "drive_fault", values.RUDDER_FAULTS: "rudder_fault", values.WHEEL_KINDS: "wheel_kind",
    values.NODE_STATES: "node_state", values.NODE_KINDS: "kind", values.RESET_CAUSES: "reset",
    values.NAVIGATION_CONDITIONS: "condition_is", values.ALARM_STATES: "alarm_state",
    values.ALARM_PRIORITIES: "alarm_priority", values.ALARM_ANSWERS: "alarm_answer", values.PRESS_ACTIONS: "press_asks",
    values.ZONE_FAULTS: "zone_fault", values.BENCH_DIRECTIONS: "bench_direction",
}  # fmt: skip
"""What a list's constants begin with. A list without a name here goes by the signal it was found at."""

SHORT_NAMES: Final = ("CAUSE", "SWITCH", "ENGINE")
"""Lists whose constants in `values` begin with the list's name: these are shorter than the words, and are taken for C too."""


def value_declarations(names: Names) -> Iterator[str]:
    yield heading("lists of values")
    users: dict[tuple[tuple[int, str], ...], list[str]] = {}
    for message in MESSAGES:
        for signal in message.signals:
            if signal.choices:
                users.setdefault(signal.choices, []).append(f"{message.name}.{signal.name}")
    for choices, signals in users.items():
        stem = LIST_NAMES.get(choices, signals[0])
        lines = [macro(names.give(stem, _value_name(stem, value, words)), unsigned(value), words) for value, words in choices]
        yield "\n".join([comment(", ".join(signals)), *lines])
    yield "\n".join(
        [
            comment("claim.wanted, bit by bit"),
            macro(names.give("takes", "drive_1"), unsigned(values.TAKES_DRIVE_1)),
            macro(names.give("takes", "drive_2"), unsigned(values.TAKES_DRIVE_2)),
            macro(names.give("takes", "rudder"), unsigned(values.TAKES_RUDDER)),
            comment("scene.scene: all zones dark"),
            macro(names.give("scene", "all_off"), unsigned(values.SCENE_ALL_OFF)),
        ]
    )


def _value_name(stem: str, value: int, words: str) -> str:
    start = f"{stem.upper()}_"
    if stem.upper() in SHORT_NAMES:
        for name, known in vars(values).items():
            if name.startswith(start) and known == value and isinstance(known, int):
                return name.removeprefix(start)
    return words


# ------------------------------------------------------------------------------------------------ state tables


def table_declarations(names: Names) -> Iterator[str]:
    yield heading("state tables")
    for table in STATE_TABLES:
        words = comment(f"The {table.name}: its states (the first after power-up) and events.")
        yield "\n".join([words, *_table_constants(table, names)])
    yield "\n".join(f"extern const busim_state_table busim_{c_word(table.name)}_table;" for table in STATE_TABLES)
    yield from _alarm_declarations(names)


def _table_constants(table: StateTable, names: Names) -> Iterator[str]:
    for value, (state, words) in enumerate(table.states):
        yield macro(names.give(table.name, "is", state), unsigned(value), words)
    for value, (event, words) in enumerate(table.events):
        yield macro(names.give(table.name, "on", event), unsigned(value), words)


def table_definitions() -> Iterator[str]:
    yield heading("state tables: row number, state, event, next state")
    for table in STATE_TABLES:
        states = table.state_values
        events = {event: value for value, (event, _) in enumerate(table.events)}
        name = c_word(table.name)
        rows = [
            f"{comment(f'{row.state}, {row.event}: {row.words}')}\n"
            f"    {{{row.number}u, {states[row.state]}u, {events[row.event]}u, {states[row.next_state]}u}}"
            for row in table.rows
        ]
        yield "static " + array(f"busim_row {name}_rows[]", rows)
        yield f"const busim_state_table busim_{name}_table = {{{name}_rows, {len(rows)}u, {len(states)}u, {len(events)}u}};"
    kinds = [f"{{{kind.number}u, {kind.priority}u, {_raised_in(kind)}}}" for kind in alarms.ALARMS]
    yield array("busim_alarm_kind busim_alarm_kinds[BUSIM_COUNT_OF_ALARMS]", kinds)


def _raised_in(kind: alarms.AlarmKind) -> str:
    return f"{truth(kind.raised_by == alarms.LISTENER)}, {truth(kind.raised_by == alarms.NAVIGATION)}"


def _alarm_declarations(names: Names) -> Iterator[str]:
    lines = [comment("Alarms by number. Raised by, about, in words:")]
    for kind in alarms.ALARMS:
        name = names.give("alarm_is_about", kind.name)
        lines.append(macro(name, unsigned(kind.number), f"{kind.raised_by}, {kind.about}: {kind.words}"))
    lines.append(macro(names.give("count_of", "alarms"), unsigned(len(alarms.ALARMS))))
    yield "\n".join(lines)
    yield "\n".join(
        [
            macro(names.give("alarm", "repeat_ms"), unsigned(alarms.REPEAT_MS)),
            macro(names.give("alarm", "changes_sent"), unsigned(alarms.CHANGES_SENT)),
            macro(names.give("alarm", "answer_repeat_ms"), unsigned(alarms.ANSWER_REPEAT_MS)),
            macro(names.give("alarm", "answer_longest_ms"), unsigned(alarms.ANSWER_LONGEST_MS)),
            macro(names.give("alarm", "unconfirmed_ms"), unsigned(alarms.UNCONFIRMED_MS)),
            macro(names.give("alarm", "silent_for_ms"), unsigned(alarms.SILENT_FOR_S * 1000)),
            macro(names.give("alarm", "most_shown"), unsigned(alarms.MOST_SHOWN), "lines of a list; every emergency is shown"),
            macro(names.give("alarm", "together_ms"), unsigned(alarms.TOGETHER_MS), "who fell silent within this did so together"),
            macro(names.give("alarm", "nobody_after_ms"), unsigned(alarms.NOBODY_AFTER_MS), "where no loss came before"),
            macro(names.give("alarm", "key_stuck_ms"), unsigned(alarms.KEY_STUCK_MS)),
            macro(names.give("alarm", "lock_out_held_ms"), unsigned(alarms.LOCK_OUT_HELD_MS)),
            macro(names.give("alarm", "lock_forgotten_ms"), unsigned(alarms.LOCK_FORGOTTEN_MS)),
        ]
    )
    yield "extern const busim_alarm_kind busim_alarm_kinds[BUSIM_COUNT_OF_ALARMS];"
