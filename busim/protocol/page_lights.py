"""The written page's rules of lights: presses, levels, scenes, who tells a driver that comes back, navigation lights."""

from collections.abc import Iterator

from busim.protocol import alarms as a
from busim.protocol.page_text import bullets, table
from busim.protocol.plan import WirePlan
from busim.protocol.values import CONDITION_AGAIN_MS, CONDITION_FORGOTTEN_MS, CONDITION_TIMES, SCENE_ALL_OFF

JOIN_MS = 400
SILENT_MS = 2000
NEVER_TOLD_MS = 3000
FAILED = a.BY_NAME["lamp_or_fuse_failed"]


def lights_section(plan: WirePlan) -> Iterator[str]:
    timing = plan.timing
    again_ms = timing.press_failed_ms + timing.press_repeat_ms
    yield "## Lights"
    yield bullets(
        [
            "A touch held for the panel's debounce_ms is a press. It gets the panel's next number and is sent as press, once for "
            f"each of its zones, and again every {timing.press_repeat_ms} ms (press_repeat_ms) to those that have not answered.",
            "A zone has answered when its own zone_state carries this panel's address and this number. When all have, the press is "
            f"done. If {timing.press_failed_ms} ms (press_failed_ms) pass first, the panel says that it failed, or was partly "
            "done, "
            "and which zones did not answer.",
            "A zone driver does a press once and answers each frame of it. The same number from the same panel for the same zone "
            f"within {again_ms} ms of the first (press_failed_ms and press_repeat_ms) is "
            "the same press; later, it is a new one, from a panel that has started again. A panel that starts goes on from the "
            "number that zones, or drivers in scene_state, report as its last.",
            "A press that a zone's lamps can't do (a colour of a lamp that has none) is neither done nor answered. A colour out of "
            "their reach becomes the nearest they can make, and the zone says so in its fault.",
        ]
    )
    yield "### Levels"
    yield bullets(
        [
            "A level is lightness as the eye sees it, CIE 1976 L* times 10: of full light, ((level + 160) / 1160) cubed above 80, "
            "and "
            "level x 27 / 243,890 up to there. What is lit at all gets one step of PWM at least.",
            "A change takes the zone's fade_ms, in a straight line of lightness, in steps of 10 ms. A switched zone changes at "
            "once.",
            "start dimming moves from dark to full in 4 s, until stop dimming or the end. Stop dimming stops nothing else: what a "
            "press or a scene moves by then goes on. On comes back to the level lit last; of a zone whose dimming was overtaken, "
            "the level it had come to.",
        ]
    )
    yield "### Scenes"
    yield bullets(
        [
            "scene asks every driver for the levels of its own table, in the fade given; a driver answers with scene_state: the "
            "scene, the revision of its table, the panel and the number of its press. A press for a scene is done when every "
            "driver "
            "with a zone in it has answered without a fault, and with that scene. The last scene asked for stands: a panel whose "
            "scene has been on the bus gives it up when it hears another panel ask, by another number than before or more than "
            f"{again_ms} ms after that one was first heard; one that is still to go out is the later of the two.",
            f"Scene {SCENE_ALL_OFF} is all off: every zone of every driver, dark.",
            "The revision is 16 bits over all scenes. A driver that hears another revision than its own joins by its own table and "
            "says fault 4; a panel shows that tables differ.",
            f"A driver that starts is dark for {JOIN_MS} ms, says scene 0 in scene_state, and only then lights what is lit after a "
            "reset. Of the panels heard within heartbeat_missing_ms, the one with the lowest address tells it the current scene, "
            "with joining 1: drivers that know of a scene since they started ignore that frame, and one that joins by it leaves "
            "alone "
            "what a press or a wired switch has worked since it started. A panel that starts takes the scene from what drivers "
            "report; one that reads there of a later press of a panel than it has heard of (up to 127 ahead) takes that scene. A "
            "scene that no driver joined is not the current one.",
            "A zone with lit_on_bus_loss lights up when its driver has heard no panel's heartbeat, press or scene for "
            f"{SILENT_MS} ms.",
        ]
    )
    yield "### Navigation lights"
    yield bullets(
        [
            "They follow a condition and nothing else: no scene, fade, level or all-off touches them, and they are never dimmed.",
            "A panel asks a station by a press of zone 0. The station takes the next number and says condition at once, in "
            f"{CONDITION_TIMES} frames {CONDITION_AGAIN_MS} ms apart, and then every second; every station that hears the change "
            "says the same. The highest number stands; of two equal ones, the lower address. "
            f"One that nobody has said for {CONDITION_FORGOTTEN_MS} ms gives way to any: stations that start count from 1 again. "
            f"What a station was asked before it knew of any condition it holds for {CONDITION_FORGOTTEN_MS} ms, or until another "
            "station has said the same, against the first other condition that would take its place: it gives what was asked the "
            "number after that one's, and says it as a change. A press is told from its repeats as at a zone.",
            "Their outputs are latching relays: they stay as set through loss of the bus, of power, hang and reset. A node that "
            f"has started, finds none of its relays closed and hears no condition for {NEVER_TOLD_MS} ms lights what shows under "
            f"way; where it has heard one that does not count yet, {NEVER_TOLD_MS} ms later. A wired switch lights its lamp all "
            "the same.",
            f"A lamp or fuse that fails is told in notice: which is {FAILED.number}, subject the light's number; number is one "
            "more for each failure of any of the node's lights, 1 to 255 and round again. Its state is raised while that lasts, "
            f"every {a.REPEAT_MS} ms, and then gone; each change is told {a.CHANGES_SENT} times, {a.ANSWER_REPEAT_MS} ms apart. "
            "Stations and alarm nodes list it (see Alarms).",
        ]
    )
    if plan.navigation_lights:
        yield table(
            ("number", "navigation light", "lit in condition"),
            [(light.number, light.name, " ".join(map(str, light.lit))) for light in plan.navigation_lights],
        )
