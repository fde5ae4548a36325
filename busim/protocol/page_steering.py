"""The written page's rules of steering. Numbers are the boat's, or those of the protocol; states and events are a table."""

from collections.abc import Iterator

from busim.protocol.page_text import bullets, paragraph
from busim.protocol.plan import WirePlan


def steering_rules(plan: WirePlan) -> Iterator[str]:
    timing = plan.timing
    settled_ms = timing.transfer_ms + 2 * timing.claim_ms
    yield "## Steering"
    yield paragraph(
        "The rudder obeys one pair of station and number, as a drive does, and reports it in rudder_state. On a boat without a "
        "rudder on the bus nothing of this section applies."
    )
    yield bullets(
        [
            "It changes over on two claims in a row that count and agree and want the rudder, from a station it may obey whose "
            "heartbeat is fresh and carries this boat's helm fingerprint, with a newer number (or the same, from a lower address). "
            "No lever is asked. But every drive that the claim wants must have reported the new pair first, within "
            f"{timing.control_timeout_ms} ms (control_timeout_ms) of the last claim: a take that the drives refuse, or that is "
            "withdrawn, must not cost the steering of whoever has it.",
            "A take never moves the rudder. Where it is when control is taken, it holds until the wheel asks for an angle within 2 "
            "degrees of that, or has gone from one side of it to the other since the take. A rate needs no such matching.",
            "Then it goes where the wheel asks, clipped at hard_over_cdeg. One valid frame is enough: an angle lasts 40 ms, and "
            "the actuator turns no faster than it can. A rate turns the angle asked for by one period's worth with every frame "
            "that counts, no faster than cdeg_per_s. A frame with kind 2 holds, and feeds the timeout.",
            "A wheel frame with number 0 lets go: the rudder holds where it is, and obeys nobody. Other numbers than the one "
            "obeyed are ignored. So is a frame with kind 3.",
            f"It has lost its station when no valid wheel frame of the pair has come for {timing.control_timeout_ms} ms "
            f"(control_timeout_ms), when that station's heartbeat has been missing for {timing.heartbeat_missing_ms} ms "
            "(heartbeat_missing_ms) or carries another helm fingerprint, when a frame says that the wheel is faulty, when the take "
            "is withdrawn, or when its own controller is bus-off on its only bus. It holds where it is now, not where it was asked "
            "to go, and obeys nobody until a take.",
            "Of unequal angles under one counter by two buses, the one that moves the rudder less.",
        ]
    )
    yield "### What the rudder finds wrong"
    yield bullets(
        [
            "Fault 1, does not arrive: it is 4 degrees behind where a rudder at three quarters of cdeg_per_s would be, for 100 ms. "
            "It keeps trying, and the fault is gone once the feedback is within 2 degrees of the angle asked for.",
            "Fault 2, moved unasked: the feedback is 4 degrees, for 100 ms, outside the stretch where a rudder that does as it is "
            "told can be: between where it was and where it is asked to be, at most at twice its speed. The power of its actuator "
            "is taken away by another path than the one that steers. It stays so, obeying nobody, until the node starts anew.",
            "Fault 3, feedback implausible: more than 3 degrees beyond hard over, or further from one sample to the next than "
            "twice its speed and half a degree; or nothing read 200 ms after the start. The wheel is followed all the same, and "
            "fault 2 is not judged. It is gone once the feedback has rested for 1 s within 2 degrees of the angle asked for.",
            "The actuator's power comes on only once the feedback has shown an angle within the travel.",
            "None of the three is noticed for a deviation of less than 4 degrees.",
        ]
    )
    yield "### Who steers, and what drives do meanwhile"
    yield bullets(
        [
            "A station with a wheel sends wheel every 40 ms: with the number of its take while it claims or holds, else with 0. "
            "But once it held control with the rudder it goes on with that number for as long as the rudder reports that pair, "
            "whatever becomes of its drives, and also while it claims anew: a take that may still be withdrawn, its own or "
            "another station's, must not cost the steering. Only where the rudder obeys it still when a drive has reported a "
            f"newer take of another station for {settled_ms} ms (transfer_ms, and two claims) and it does not hold, that take is "
            "complete without the rudder, and it sends 0.",
            "Its take is of the rudder too, unless it has not heard the rudder for heartbeat_missing_ms, or hears fault 2, or its "
            "own wheel is faulty when the key is pressed: drives can be had without a rudder that nobody can have. The take is "
            "complete when the rudder echoes as well, and withdrawn where it does not.",
            "The rudder lost alone is shown and alarmed, and the drives are held on to. Nobody shows that a station is in control "
            "while the rudder obeys another one, or nobody.",
            "A drive gives no more throttle than no_steer_permille while the rudder is silent for heartbeat_missing_ms or reports "
            f"a fault, or has obeyed nobody for {timing.transfer_ms} ms (transfer_ms: a hand-over may pass through nobody). One "
            "frame is enough. A throttle that was held back stays so until two lever frames in a row ask for no more than that: "
            "steering that comes back opens no throttle.",
        ]
    )
