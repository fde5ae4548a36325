"""The written page's rules of alarms: who raises what, who shows it, how the crew answers, and the table of alarms."""

from collections.abc import Iterator

from busim.protocol import alarms as a
from busim.protocol.page_text import bullets, paragraph, table
from busim.protocol.plan import WirePlan
from busim.protocol.values import ALARM_PRIORITIES


def alarm_rules(plan: WirePlan) -> Iterator[str]:
    missing = plan.timing.heartbeat_missing_ms
    settle = 2 * plan.timing.heartbeat_ms
    failed = a.BY_NAME["lamp_or_fuse_failed"]
    yield "## Alarms"
    yield paragraph(
        "Listeners are the stations and the nodes of kind alarm. Each keeps a list of its own, from its own reception: what others "
        "send in alarm (nodes beyond the helm: in notice), and what it sees by itself, which nobody sends. An alarm is told apart "
        "by its number and the address it is about."
    )
    yield table(
        ("number", "alarm", "priority", "raised by", "about", "in words"),
        [
            (kind.number, kind.name, dict(ALARM_PRIORITIES)[kind.priority], kind.raised_by, kind.about, kind.words)
            for kind in a.ALARMS
        ],
    )
    yield "### Raising"
    yield bullets(
        [
            f"A change is sent in {a.CHANGES_SENT} frames {a.ANSWER_REPEAT_MS} ms apart, at the pace of the raiser's main task. "
            f"While its cause is there an alarm is sent every {a.REPEAT_MS} ms. Gone is not repeated beyond its {a.CHANGES_SENT}.",
            "Each time an alarm arises it gets its raiser's next number, 1 to 255 and round again. The counter of alarm is one for "
            "all alarms of a raiser, and goes up with every frame; none overwrites another that waits.",
            "The raiser follows alarm_answer of any listener to its own address and number, as the table of alarm states has it, "
            "and its frames say so. Its silence ends by its own clock.",
            "A drive raises control_lost for as long as it has a cause latched that took control from a station or found it off "
            "neutral: any but neutral now and actuator. Its faults of drive_state raise shift_fault (1), throttle_fault (2 and 5), "
            "sensor_fault (3 and 4). Both end with the next take. It raises unequal_orders while two buses bring unequal lever "
            "frames under one counter, and for 1 s after. A station raises lever_fault while its lever frames carry one or its "
            "wheel frames do.",
            "Any helm node that receives a sound heartbeat under its own address raises two_at_one_address until none "
            "came for 1 s.",
        ]
    )
    yield "### What a listener sees by itself"
    yield bullets(
        [
            "node_lost: nothing new in the heartbeat of a helm node on its buses, or of a navigation node, for "
            f"{missing} ms (heartbeat_missing_ms), counted from its own start for one never heard. one_bus_lost: the same on one "
            "bus of several they share. other_boat_file: the heartbeat of a helm node carries another helm fingerprint.",
            "hears_nothing: every helm node on its buses is lost. All that are lost are listed under it.",
            f"bus_lost_beyond: two or more nodes that fell silent within {a.TOGETHER_MS} ms of each other are all nodes from one "
            f"place of a trunk to its end, seen from here, and nobody else fell silent with them. Named {settle} ms after the last "
            "change, by the nearest of them; they are listed under it.",
            f"nobody_in_control: every drive heard obeys nobody. At once where a station had control and not every drive "
            f"gives neutral now as its cause, else after {a.NOBODY_AFTER_MS} ms.",
            f"neutral_key_stuck: a neutral-now key was pressed for {a.KEY_STUCK_MS} ms without a break of 1 s. key_locked_out: a "
            "station's neutral_now frames name it.",
            "let_go: a drive or the rudder that was in control at this station fell silent or obeys nobody, with another cause "
            "than neutral now, until another station is obeyed or control is taken here anew. Also, as long as this station holds "
            "control, a drive that its take had to leave out, or the rudder.",
        ]
    )
    yield "### The list"
    yield bullets(
        [
            "One cause is one line. Under a lost node stand the alarms it raised; under a lost station, or one with a lever fault, "
            "the control_lost of the drives that obeyed it and steering_lost; under those what a station let go of, and "
            "nobody_in_control. One whose cause is over takes none under it whose cause is there.",
            "A line is as urgent as the most urgent alarm under it, and as little answered. Order: urgency, then what nobody "
            f"acknowledged, then the newest. {a.MOST_SHOWN} lines are shown, and every emergency however many there are; lines not "
            "shown are counted.",
            "An alarm frame refused by the counter's rule (the first, or the first after a gap) raises an alarm not listed, "
            "and does nothing else: noise may take all but one of an alarm's frames.",
            f"An alarm of another node not repeated for {a.UNCONFIRMED_MS} ms is shown as no longer confirmed. It ends once its "
            "raiser has been heard for so long without it.",
            "Acknowledge answers the first line that nobody acknowledged, with all under it; silence answers all that sounds. "
            f"Both count at once in the list they are pressed at. To a raiser the answer goes out as alarm_answer every "
            f"{a.ANSWER_REPEAT_MS} ms until its frames show it, at most {a.ANSWER_LONGEST_MS} ms; if they never do it sounds "
            "again. "
            "Other listeners follow both. What a listener saw by itself is answered there and nowhere else.",
            f"Silenced is quiet for {a.SILENT_FOR_S} s (IMO MSC.302(87), MSC.252(83)).",
        ]
    )
    yield "### A navigation light's lamp or fuse"
    yield bullets(
        [
            f"Every listener on a bus with a navigation node hears its notices, and lists {failed.name} for each light by itself: "
            "it is about the light's number, and as urgent as the notice says. A notice about a light that its sender does not "
            "feed is ignored, and so is this number in alarm.",
            "notice has no CRC and no counter. One frame whose state is not gone raises the alarm. Two by one bus whose state is "
            "gone end it, where none that is not gone came between them. Another number is another occurrence: it arises anew.",
            f"It ends too once its sender has been heard for {a.UNCONFIRMED_MS} ms without it; while its sender is lost it stands "
            "under that.",
            "The sender of a notice follows no answer. An acknowledgement holds in the list it is pressed at, and goes out as "
            f"alarm_answer with the navigation node as raiser, every {a.ANSWER_REPEAT_MS} ms for {a.ANSWER_LONGEST_MS} ms: other "
            "lists follow it. A list that starts later raises the alarm anew. Silences end by each list's own clock.",
        ]
    )
    yield "### A neutral-now key that is stuck"
    yield paragraph(
        f"While another station's key is shown as stuck, a station's lock-out key held for {a.LOCK_OUT_HELD_MS} ms names it: bit n "
        "of locked_out in neutral_now for the station at address n, in three frames 20 ms apart, then every "
        f"{a.REPEAT_MS} ms, pressed or not. A drive ignores a key while the last two frames of any other station (two counters, "
        f"not one frame twice) name it, and for {a.LOCK_FORGOTTEN_MS} ms after the last at most. Held again, all are let back in: "
        "three frames with locked_out 0. A station that starts names none."
    )
