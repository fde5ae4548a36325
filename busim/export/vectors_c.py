"""The vectors as a C program: compiled with the exported C it says how many of them hold, and ends with 0 where all do."""

from collections.abc import Iterator, Sequence
from typing import Final

from busim.export.c_messages import struct_of, type_of
from busim.export.c_text import c_field, comment, heading
from busim.export.vectors import RESULTS, Frame, Run, frames_of, runs_of
from busim.export.written import MARK
from busim.protocol.catalogue import MESSAGES
from busim.protocol.codec import Message
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan

MOST_SIGNALS: Final = max(len(message.signals) for message in MESSAGES)

HEAD: Final = f"""\
{MARK}
Self-test of the exported C of {{title}}. It wants the files of busim export c of the same boat:
cc -std=c99 -I exported_c busim_selftest.c exported_c/*.c -o selftest
It prints what fails, and ends with 0 where nothing does. Without a console, leave out its main by
-D BUSIM_SELFTEST_SILENT, and call busim_selftest(): it gives the number of failures.
Generated with busim's own codec: it shows that two codecs agree, and of firmware nothing else."""

TYPES: Final = f"""\
typedef struct test_frame {{
    uint8_t message;
    uint8_t result;
    int16_t counter;
    uint8_t address;
    busim_frame frame;
    uint16_t raw; /* where its values begin in test_values */
}} test_frame;

typedef struct test_run {{
    uint8_t max_gap;
    uint8_t buses;
    uint16_t limit_ms;
    uint16_t steps; /* where it begins in test_steps */
    uint16_t count;
}} test_run;

typedef struct test_step {{
    uint16_t at_ms;
    uint8_t bus;
    uint8_t counter;
    uint8_t verdict;
}} test_step;

#define TEST_MOST_SIGNALS {MOST_SIGNALS}u

#ifdef BUSIM_SELFTEST_SILENT
#define TEST_SAY(words, number) ((void)(words), (void)(number))
#else
#include <stdio.h>
#define TEST_SAY(words, number) (void)printf("%s %u\\n", (words), (unsigned)(number))
#endif"""

CHECKS: Final = """\
static unsigned test_one_frame(uint16_t place)
{
    const test_frame *test = &test_frames[place];
    const uint8_t signals = test_signals[test->message];
    int32_t values[TEST_MOST_SIGNALS];
    busim_frame again = test->frame;
    busim_result result;
    uint8_t each;
    for (each = 0u; each < TEST_MOST_SIGNALS; each++) {
        values[each] = 0;
    }
    result = test_unpack(test->message, &test->frame, values);
    if (result != (busim_result)test->result) {
        TEST_SAY("another result than expected: frame", place);
        return 1u;
    }
    if (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) {
        return 0u;
    }
    for (each = 0u; each < signals; each++) {
        if (values[each] != test_values[test->raw + each]) {
            TEST_SAY("another value than expected: frame", place);
            return 1u;
        }
    }
    if (test->counter >= 0 && busim_counter_of(&test->frame) != (uint8_t)test->counter) {
        TEST_SAY("another counter than expected: frame", place);
        return 1u;
    }
    again.length = 0u;
    if (test_pack(test->message, values, test->address, (uint8_t)test->counter, &again) != result) {
        TEST_SAY("packing ends otherwise: frame", place);
        return 1u;
    }
    if (result == BUSIM_OK && (again.id != test->frame.id || again.length != test->frame.length
                               || memcmp(again.data, test->frame.data, again.length) != 0)) {
        TEST_SAY("packed otherwise: frame", place);
        return 1u;
    }
    return 0u;
}

static unsigned test_one_run(uint16_t place)
{
    const test_run *run = &test_runs[place];
    busim_counter_watch alone;
    busim_pair_watch pair;
    uint16_t each;
    busim_counter_start(&alone, run->max_gap);
    busim_pair_start(&pair, run->buses, run->max_gap, run->limit_ms);
    for (each = 0u; each < run->count; each++) {
        const test_step *step = &test_steps[run->steps + each];
        const busim_verdict verdict = busim_pair_judge(&pair, step->at_ms, step->bus, step->counter);
        if (verdict != (busim_verdict)step->verdict
            || (run->buses == 1u && busim_counter_judge(&alone, step->counter) != verdict)) {
            TEST_SAY("another verdict than expected: run", place);
            return 1u;
        }
    }
    return 0u;
}

int busim_selftest(void)
{
    unsigned failures = 0u;
    uint16_t place;
    if (!test_same_boat()) {
        TEST_SAY("the code was exported from another boat file: scenes", BUSIM_BOAT_REVISION_OF_SCENES);
        failures++;
    }
    for (place = 0u; place < TEST_COUNT_OF_FRAMES; place++) {
        failures += test_one_frame(place);
    }
    for (place = 0u; place < TEST_COUNT_OF_RUNS; place++) {
        failures += test_one_run(place);
    }
    return (int)failures;
}

#ifndef BUSIM_SELFTEST_SILENT
int main(void)
{
    const int failures = busim_selftest();
    (void)printf("%s\\n%u frames, %u runs of counters: %d failed\\n", busim_boat_stamp, (unsigned)TEST_COUNT_OF_FRAMES,
                 (unsigned)TEST_COUNT_OF_RUNS, failures);
    return failures == 0 ? 0 : 1;
}
#endif"""


def selftest_source(plan: WirePlan, title: str) -> str:
    frames, runs = list(frames_of(plan)), list(runs_of(plan))
    includes = '#include "busim_rules.h"\n\n#include <string.h>'
    blocks = [comment(HEAD.format(title=title)), includes, TYPES, heading("by message"), *glue(), heading("frames")]
    blocks += [*_frame_tables(frames), heading("counters"), *_run_tables(runs), heading("checks"), _ours(plan), CHECKS]
    return "\n\n".join(blocks) + "\n"


def _ours(plan: WirePlan) -> str:
    return f"""\
int busim_selftest(void);

/* Were the vectors and the code exported from the same boat file? */
static bool test_same_boat(void)
{{
    return BUSIM_BOAT_FINGERPRINT_OF_HELM == 0x{plan.helm_fingerprint:04X}u
           && BUSIM_BOAT_FINGERPRINT_OF_LIGHTING == 0x{plan.lighting_fingerprint:04X}u
           && BUSIM_BOAT_REVISION_OF_SCENES == 0x{plan.scene_revision:04X}u;
}}"""


# ------------------------------------------------------------------------------------------------ messages by number


def glue() -> Iterator[str]:
    """Every message packed from, and unpacked to, a row of plain numbers: its place in the catalogue says which."""
    counts = ", ".join(f"{len(message.signals)}u" for message in MESSAGES)
    yield f"static const uint8_t test_signals[] = {{{counts}}};"
    packing = "\n".join(_pack_case(place, message) for place, message in enumerate(MESSAGES))
    yield (
        "static busim_result test_pack(uint8_t message, const int32_t *values, uint8_t address, uint8_t counter,\n"
        "                              busim_frame *frame)\n"
        f"{{\n    switch (message) {{\n{packing}\n    default:\n        return BUSIM_OTHER_MESSAGE;\n    }}\n}}"
    )
    unpacking = "\n".join(_unpack_case(place, message) for place, message in enumerate(MESSAGES))
    yield (
        "static busim_result test_unpack(uint8_t message, const busim_frame *frame, int32_t *values)\n"
        f"{{\n    switch (message) {{\n{unpacking}\n    default:\n        return BUSIM_OTHER_MESSAGE;\n    }}\n}}"
    )


def _pack_case(place: int, message: Message) -> str:
    name = struct_of(message)
    numbered = enumerate(message.signals)
    fields = [f"        content.{c_field(signal.name)} = ({type_of(signal)})values[{at}];" for at, signal in numbered]
    counter = "counter, " if message.is_safety else ""
    call = f"        return {name}_pack(&content, address, {counter}frame);"
    return "\n".join([f"    case {place}u: {{", f"        {name} content;", *fields, call, "    }"])


def _unpack_case(place: int, message: Message) -> str:
    name = struct_of(message)
    numbered = enumerate(message.signals)
    fields = [f"            values[{at}] = (int32_t)content.{c_field(signal.name)};" for at, signal in numbered]
    return "\n".join(
        [
            f"    case {place}u: {{",
            f"        {name} content;",
            f"        const busim_result result = {name}_unpack(frame, &content);",
            "        if (result == BUSIM_OK || result == BUSIM_OUT_OF_RANGE) {",
            *fields,
            "        }",
            "        return result;",
            "    }",
        ]
    )


# ------------------------------------------------------------------------------------------------ tables


def _frame_tables(frames: Sequence[Frame]) -> Iterator[str]:
    places = {message.name: place for place, message in enumerate(MESSAGES)}
    values: list[int] = []
    starts: dict[tuple[int, ...], int] = {}
    rows: list[str] = []
    for frame in frames:
        if frame.raw not in starts:
            starts[frame.raw] = len(values) if frame.raw else 0
            values += frame.raw
        data = ", ".join(f"0x{byte:02X}u" for byte in frame.data.ljust(8, b"\0"))
        wire = f"{{0x{frame.can_id:03X}u, {len(frame.data)}u, {{{data}}}}}"
        numbers = f"{places[frame.message.name]}u, {RESULTS.index(frame.result)}u, {frame.counter}, {address_of(frame.can_id)}u"
        words = comment(f"{len(rows)}: {frame.message.name}, {frame.why}")
        rows.append(f"    {words}\n    {{{numbers}, {wire}, {starts[frame.raw]}u}}")
    numbers = ",\n    ".join(", ".join(_number(value) for value in values[at : at + 12]) for at in range(0, len(values), 12))
    yield f"static const int32_t test_values[] = {{\n    {numbers}\n}};"
    yield "static const test_frame test_frames[] = {\n" + ",\n".join(rows) + "\n};"
    yield f"#define TEST_COUNT_OF_FRAMES {len(rows)}u"


def _number(value: int) -> str:
    return "(-2147483647L - 1)" if value == -(1 << 31) else f"{value}L"


def _run_tables(runs: Sequence[Run]) -> Iterator[str]:
    steps: list[str] = []
    rows: list[str] = []
    for run in runs:
        buses = sum(1 << bus for bus in run.buses)
        words = comment(f"{len(rows)}: {run.why}")
        rows.append(f"    {words}\n    {{{run.max_gap}u, {buses}u, {run.limit_ms}u, {len(steps)}u, {len(run.frames)}u}}")
        both = zip(run.frames, run.verdicts, strict=True)
        steps += [f"{{{at_ms}u, {bus}u, {counter}u, {verdict}u}}" for (at_ms, bus, counter), verdict in both]
    listed = ",\n    ".join(", ".join(steps[at : at + 8]) for at in range(0, len(steps), 8))
    yield f"static const test_step test_steps[] = {{\n    {listed}\n}};"
    yield "static const test_run test_runs[] = {\n" + ",\n".join(rows) + "\n};"
    yield f"#define TEST_COUNT_OF_RUNS {len(rows)}u"
