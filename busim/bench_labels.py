"""Every word of the bench, so that they can be read together. Where machinery may move, the cautions are among them."""

from typing import Final

# ------------------------------------------------------------------------------------------------ the link, and listening first

LINK_SIMULATED: Final = "the device is simulated too: nothing outside this computer is touched"
LINK_FIRMWARE: Final = "firmware in a process of its own: {program}"
LINK_IS: Final = "device: {words}"
FIRMWARE_NOT_STARTED: Final = "{program} can't be started ({why}): name a program that may be run, with --firmware"
FIRMWARE_ENDED: Final = "{program} ended at once (exit status {status}): run it by itself with HOST:PORT to see why"
FIRMWARE_SILENT: Final = (
    "{program} did not connect within {seconds} s: it is given HOST:PORT and has to connect there, speaking "
    "slcan"
)
FIRMWARE_GONE: Final = "{program} ended, or closed its connection, in the middle"
FIRMWARE_STUCK: Final = "{program} does not read what it is sent"
ADAPTER_GARBAGE: Final = (
    "{adapter}: {count} lines from it were no frames: is it an adapter of this kind, at this speed, and does no "
    "other program use it?"
)
LISTENING: Final = "listening first: nothing is sent"
HEARD_ALONE: Final = "{node} is heard, and nobody else ({count} heartbeats); nothing it reports moves"
UNKNOWN_NODE: Final = "somebody unknown"
FOREIGN: Final = "somebody who sends 29-bit or other frames"
NOT_ALONE: Final = (
    "there is more than the device on this bus: {others}. This may be a boat. Nothing was sent, and nothing will "
    "be: put the device "
    "on a bus of its own"
)
MOVING_GEAR: Final = "its gear is in, or it does not know"
MOVING_THROTTLE: Final = "its throttle is at {permille} permille"
MOVING_ENGINE: Final = "its engine turns at {rpm}/min"
MOVING_RUDDER: Final = "its rudder moves"
MOVES: Final = (
    "machinery is reported moving: {what}. Nothing was sent: bring it to rest first, gear out, throttle at its "
    "stop, engine off"
)
NOT_HEARD: Final = (
    "the device was heard {count} times in {seconds:g} s, three heartbeats are wanted: is it powered, at this bit "
    "rate, its wires the "
    "right way round, and is there a terminator of 120 ohm at both ends (60 ohm between the wires with the power off)?"
)
NO_REPORT: Final = "the device lives but does not report its machinery: whether something moves is not known, so nothing is sent"
SOMEBODY_CAME: Final = "{other} was heard on the bench's bus ({can_id:03X}): somebody else is on it. The session ends"
BAND_CARRIES_NOTHING: Final = "the bench band carries machinery, and a {kind} has none: leave the option out"
NO_BAND: Final = (
    "the device answers nothing on the bench band: its firmware is not built for the bench. Use its own rig: "
    "--machinery rig"
)

# ------------------------------------------------------------------------------------------------ before anything moves

CAUTIONS: Final = (
    "BEFORE ANYTHING MOVES. Propeller clear or shaft disconnected; the boat secured; nobody near what can move; "
    "the engine off, or a "
    "means to stop it that needs no bus; somebody at a cut-off of actuator power for as long as this lasts. Your local rules, your "
    "class, your insurer and a qualified surveyor come first. Firmware under test may do anything at any moment."
)
ASK_MACHINERY: Final = "how does machinery reach the device? Type rig (its own actuators) or band (values by the bench band)"
ASK_DISCONNECTED: Final = "type what is disconnected, so that nothing can be driven by it (it is kept in the record)"
ASK_CUT_OFF: Final = "cut the actuators' power at the cut-off once, and give it back; type shown when it was seen to work"
SHOWN: Final = "shown"
NO_MACHINERY: Final = '"{said}" is neither rig nor band: nothing was sent'
NOT_CONFIRMED: Final = "nobody said what is disconnected: nothing was sent"
NO_CUT_OFF: Final = "the cut-off was not shown: nothing was sent"
ASK_SUPPLY: Final = {
    0: "cut {node}'s supply now, then press Enter at once",
    1: "give {node} its supply again now, then press Enter at once",
}
ASK_GEAR_OUT: Final = "look at the gear: type yes as soon as it is out, or the engine stopped; no, if it stays in"

# ------------------------------------------------------------------------------------------------ stimuli

STIMULUS: Final = "{name}: {words}"
UNCERTAIN: Final = "moments are known to {ms} ms"
LACKS: Final = {
    "machinery": "adapter: no machinery reaches the device",
    "two stations": "boat: there is only one station on this bus that may take it",
    "played machinery": "adapter: the machinery is real, and turns as it will",
    "supply": "adapter: nobody is there to switch its supply",
    "a hand": "adapter: no hand is there",
    "timely": "adapter: the way to it and back takes too long for anything to be timed",
    "a full bus": "adapter: it takes fewer frames than fill the bus, {count} were refused",
}
NEEDS: Final = {
    "timely": "needs an adapter that answers within 50 ms",
    "a full bus": "needs an adapter that takes as many frames as fill the bus",
}
NO_HEARTBEATS: Final = "no heartbeats"
LONGEST_GAP: Final = "the longest gap between two heartbeats"
GAP_UNDER_LOAD: Final = "the longest gap between two heartbeats on a full bus"
OTHER_FINGERPRINT: Final = (
    "it was built from another boat file, or packs bytes in another order: helm {said:04x}, this one is {own:04x}"
)
SAME_FINGERPRINT: Final = "it was built from this boat file: helm {own:04x}"
SUPPLY_STAYED: Final = "it went on sending: its supply was not switched off"
NO_IDENTITY: Final = "it does not say what it is after it starts"
WOKE_WRONG: Final = "after it starts it obeys somebody, or its gear is in"
WOKE: Final = "it starts in neutral, obeys nobody, and says what it is: software {version}"
EVERY_ID: Final = "{sent} frames of all ids but its own with random data"
SECOND_SENDER: Final = "heartbeats of another sender under its address"
IT_MOVED: Final = "its machinery moved"
IT_OBEYS: Final = "it obeys station {station} under number {number}"
NOT_IN_GEAR: Final = "its gear did not go in ({gear}; it obeys {station}), so there was nothing to see"
DID_NOT_GO: Final = "a station took control and put its lever ahead, and its gear did not go in ({gear}; it obeys {station})"
BEATS_ALONE: Final = "its heartbeat goes on and its reports have stopped: a heartbeat has to come from the main task"
NOT_TAKEN: Final = "it does not obey the station that took control, so there was nothing to see"
WENT_IN_FAST: Final = "its gear went in at {rpm} rpm of at most {limit}"
STAYED_OUT_FAST: Final = "its gear stayed out at {rpm} rpm"
FOLLOWS_OLD: Final = "it follows the lever of the station that has lost control"
LEFT_OLD: Final = "the lever of the station that has lost control moves nothing"
WENT_IN_AGAIN: Final = "its gear went in again by itself"
STILL_IN: Final = "its gear is still in"
WENT_AND_CAME: Final = "the gear went in and came out"
REPLAY_BORNE: Final = "no thrust came of it"
OLD_NUMBER: Final = "sound lever frames astern under an old number"
OUT_OF_RANGE: Final = "sound lever frames with a gear there is not"
RACED: Final = "it obeys one of them or nobody ({station}), and its gear stayed out"
NEUTRAL_NOW_PRESSED: Final = "gear out after neutral now"
AFTER_BAD_CRC: Final = "gear out after the last sound frame"
AFTER_FINGERPRINT: Final = "gear out after the first heartbeat of another boat file"
AFTER_HEARTBEATS: Final = "gear out after the last heartbeat"
AFTER_LEVER: Final = "gear out after the last lever frame"
LET_GO: Final = "it said that it obeys nobody any more"
AFTER_STATION: Final = "gear out after the station fell silent"
WOKE_AFTER: Final = "; heard between {least:,} and {most:,} ms after its supply came"
WITNESSED: Final = {
    True: "gear out after the supply went, which is known to {ms:,} ms, by the switch of another node",
    False: "engine stopped by its cutout after the supply went, which is known to {ms:,} ms",
}
SEEN_OUT: Final = "gear seen out after the supply went, which is known to {ms:,} ms, by whoever looked at it"
RESTS_ON_DEVICE: Final = "by the device's own report"
RESTS_ON_CUTOUT: Final = "by the switch of its cutout, another node"
RESTS_ON_OBSERVER: Final = "by the sensors of an observer, another node"
GEAR_RESTS: Final = "where gear and throttle are is known {rests_on}"
THROTTLE_AT_STOP: Final = "throttle at its stop, {rests_on}"
CONTRADICTED: Final = {
    "gear": "the device reports its gear out, and an observer's sensors show that it is in",
    "throttle": "the device reports its throttle at its stop, and an observer's sensor shows that it is not",
}
OBSERVED_IN: Final = "its gear is in, by the sensors of an observer"
OBSERVED_THROTTLE: Final = "its throttle is off its stop, by the sensor of an observer"
SUPPLY_CUT: Final = {True: "without supply its gear is out", False: "without supply its gear stays in, with the engine running"}
ADAPTER_OVERFLOWS: Final = "the adapter refused {count} frames: it takes no more"
COMPUTER_LATE: Final = "the computer was late"

# ------------------------------------------------------------------------------------------------ the end

ENDING: Final = "ending: neutral and idle are commanded"
CUT_POWER: Final = (
    "  THE DEVICE HAS NOT REPORTED NEUTRAL AND IDLE  ",
    "  IT MAY STILL BE AHEAD  ",
    "  CUT ITS POWER NOW  ",
)
ENDED_NEUTRAL: Final = "the device reports gear out and throttle at its stop"
ENDED_UNTOUCHED: Final = "nothing was sent that could have moved anything"
LATE_SHARES: Final = (
    "frames out later than due by {median:.2f} ms in the median, {high:.2f} ms at 99 %, {worst:.2f} ms at worst "
    "({count:,})"
)
HELD_UP: Final = "the computer was held up {times} times, {seconds:.1f} s in all"
CAPPED: Final = "{count} frames asked for more throttle than the cap of {cap} permille and were not sent"
ODD_FRAMES: Final = "{count} frames of the device were 29-bit, remote or error frames"
ENDED_ALONE: Final = "the session ended by itself, as nobody was there to show it"
SESSION_DIED: Final = "the session's process ended without a word"
ENDING_SOON: Final = "ending as soon as the device is in neutral; wait for its report"

# ------------------------------------------------------------------------------------------------ the command

BENCH_HEAD: Final = "bench: the node {node} on the bus {bus}, throttle never above {cap} permille; Ctrl-C ends it"
NO_NODE: Final = "which node is on the bench? This boat has none called {node}: {meant}"
NOT_ON_BUS: Final = "{node} is not on the bus {bus}; it is on {taps}"
NO_STIMULUS: Final = "there is no stimulus {name}: {meant}"
NO_CHANNEL: Final = "a simulated interface has no channel: leave out --channel, or name another --interface"
FIRMWARE_IS_SIMULATED: Final = "--firmware is for a program on this computer: it goes with --interface simulated"
CHANNEL_WANTED: Final = "name the adapter's channel with --channel: --list shows what is there"
FOUND_SIMULATED: Final = "no hardware: the node simulated too, or a firmware's own process with --firmware"
RESULT: Final = "    {verdict}: {words}{measured}"
TESTED: Final = "{node}: software {version}; {machinery}"
UNKNOWN: Final = "not known"
MACHINERY: Final = {
    "simulated": "device and machinery simulated",
    "band": "machinery simulated, by the bench band: what the device says of its outputs is what it says of itself",
    "rig": "machinery by the device's own rig: known from what it reports",
}
NEUTRAL: Final = {
    True: "at the end the device reported gear out and throttle at its stop",
    False: "AT THE END THE DEVICE DID NOT REPORT NEUTRAL AND IDLE",
    None: "nothing was sent that could have moved anything",
}
NO_DRIVE: Final = "the device is no drive: it was left without anybody on its bus, and a rudder stays where it is"
STIMULUS_HEAD: Final = ("stimulus", "verdict", "exercises", "what came of it")
MISSING: Final = "not exercised: {names}"

# ------------------------------------------------------------------------------------------------ what is known of the adapter

RATE_TAKEN: Final = "the adapter took the bit rate, {bit_rate:,} bit/s"
RATE_TOLD: Final = "the adapter was told the bit rate, {bit_rate:,} bit/s"
RATE_UNANSWERED: Final = "the adapter was told the bit rate, {bit_rate:,} bit/s, and did not answer"
RATE_OF_LINK: Final = "the bit rate is set where the link is: it has to be {bit_rate:,} bit/s (ip -details link show)"
ACKNOWLEDGED: Final = {
    "acknowledged": "another node acknowledges what the bench sends",
    "unacknowledged": "nobody acknowledges what the bench sends",
    "untold": "whether another node acknowledges what the bench sends can't be told with this adapter",
}
NOBODY_ACKNOWLEDGES: Final = (
    "nobody acknowledges what the bench sends, though the device is heard: nothing that was to be shown would reach it. Does its "
    "controller only listen, or is its transceiver told to be silent? Is there 120 ohm at both ends?"
)
WIRE_SAYS: Final = "{refusal} (the adapter says: {trouble})"
ROUND_TRIP: Final = "the adapter answers within {ms:.2f} ms (hardware {hardware}, software {software})"
ROUND_TRIP_ASSUMED: Final = "the way to the adapter and back can't be measured: {ms:g} ms is assumed"
NO_VERSION: Final = "the adapter does not say its version ({why}): the way to it and back is assumed"
NO_ANSWER: Final = "no answer"
STAMPED_HERE: Final = "moments are those at which frames reach this computer"

# ------------------------------------------------------------------------------------------------ rudder and lights

RUDDER_STAYED_PUT: Final = "the rudder did not follow the wheel, so there was nothing to see"
RUDDER_HELD: Final = "without a station the rudder stays where it is: it moved by {cdeg} hundredths of a degree"
ZONE_DARK: Final = "it reports no zone"
ZONE_ANSWERS: Final = "a press is answered by the zone's own state"
ZONE_SILENT: Final = "no zone of it reported anything new after a press"
NO_CONTROL: Final = "boat: no panel on this bus has a field for one of its zones"
NO_WITNESS: Final = (
    "{witness} can be no witness: it has to be the cutout of the device's own drive, on the adapter's bus ({fitting})"
)
NOBODY: Final = "this boat has none"
