"""The written page's rules of cutouts and of starting an engine. Numbers are the boat's; states and events are a table."""

from collections.abc import Iterator

from busim.protocol.page_text import bullets, paragraph
from busim.protocol.plan import WirePlan


def engine_rules(plan: WirePlan) -> Iterator[str]:
    timing = plan.timing
    yield "### Cutouts"
    yield paragraph(
        "A cutout stops one engine. It has a supply, a switch on the gearbox that is closed in neutral, and a speed pick-up of its "
        "own, and shares nothing with its drive but the bus. Of the drive's reports it takes those whose CRC and counter count."
    )
    yield bullets(
        [
            "The drive is driven when two reports in a row name the same station and number, and the later one an acted_on that "
            "the earlier had not. A drive whose program hangs with its reports alive is not driven.",
            f"Not driven for {timing.heartbeat_missing_ms} ms, the cutout waits. If never heard, from the cutout's start.",
            "What a sensor shows is believed once it has stood for 100 ms. A gear switch that was never read counts as open.",
            "It fires limit_ms and cutout_ms after the drive was last driven where its gear switch is open or the speed is above "
            "1.25 x idle_rpm, and has been for cutout_ms; so a gear that goes in while nobody drives is stopped cutout_ms later.",
            "Fired, it holds the fuel cut until control was taken anew: the drive is driven, under another station or number than "
            "when it fired, or after it said that it obeys nobody, and the cutout's own gear switch is closed. It forgets what it "
            "knew when it starts: an engine that is stopped by then needs permission to start.",
        ]
    )
    yield "### What a drive doubts"
    yield paragraph(
        "A drive that finds its own sensors against each other, or its actuators against what it told them, gives control up "
        "(cause 9) and names the first fault it found in drive_state.fault until control is taken anew, which it is not while the "
        "doubt "
        "stands. These times are common practice; others will do that find the same."
    )
    yield bullets(
        [
            "Sensed gear: neutral within 100 permille of neutral, a gear from 900 to 1150 permille of its side, else between; "
            "between too where the neutral switch says otherwise. Beyond 1150 the feedback is broken: that is what an open or a "
            "shorted one reads.",
            "Fault 1: in gear, shift feedback nearer to neutral than 750 permille of that gear; at rest, sensed gear not neutral; "
            "for 200 ms. In forced_neutral it asks for an engine stop at once.",
            "Fault 3: shift feedback within 100 permille of neutral and the switch open, or from 500 on and the switch closed, for "
            "200 ms. With the gear sent out, feedback neutral and the switch still open, it asks for an engine stop.",
            "Fault 4: throttle feedback below -30 or above 1030 permille for 200 ms, or moving away from where it was told "
            "to go. Nothing is waited for then: from forced_idle the gear comes out at once.",
            "Fault 2: throttle feedback further than 100 permille from where it was told to be that comes no nearer in 500 ms than "
            "half of what its actuator does; while slowing this is only reported, as idle is commanded already.",
            "Fault 5: with the gear out and the throttle at its stop, speed above 1.5 x shift_rpm for 2 s: engine stop. Or speed "
            "above half of shift_rpm 5 s after an engine stop was asked for.",
            "After fault 2 or 4, with the gear coming out and speed still above shift_rpm: engine stop.",
        ]
    )
    yield "### Starting an engine"
    yield bullets(
        [
            "A drive gives permission (permission.may_start, and its output start_permit) only where the independent neutral "
            "switch is closed, its feedback shows neutral, the throttle is at its stop, its state is unclaimed, neutral, dwelling "
            "or forced_neutral, and it has found no fault. Where no such switch is fitted it never does.",
            "A cutout gives its own permission while its gear switch is closed and it has not fired.",
            "permission.inhibit: a drive has asked for an engine stop, or a cutout holds the fuel cut.",
        ]
    )
