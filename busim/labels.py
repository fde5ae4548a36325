"""Every word a person sees on a screen or in a table, in one place, so that they can be read together. Plain text, no markup.

What a state row, a cause, a message, a fault or a requirement is called stands in its own table; what goes round it is here.
What the screen of a rehearsal says stands in `busim.screen_labels`.
"""

from typing import Final

CAUTION: Final = (
    "busim designs and tests; it is never part of a boat's control system. A simulation is a model: what passes here has still "
    "to be shown on the real boat, shaft disconnected or propeller clear, boat secured, somebody at a cut-off of actuator power."
)

# ------------------------------------------------------------------------------------------------ what stations and panels show

SHOWS: Final = {
    0: "nothing (dark)",
    1: "nobody in control",
    2: "in control here",
    3: "another station in control",
    4: "nothing heard",
    5: "asking for control",
    6: "drives and rudder do not all obey one station",
    7: "control lost, drive not yet heard of",
    8: "in control here, but nobody steers",
}
FIELDS: Final = {0: "quiet", 1: "waits", 2: "done", 3: "failed", 4: "partly done"}

# ------------------------------------------------------------------------------------------------ timeline

GEARS: Final = {0: "neutral", 1: "ahead", 2: "astern"}
CONTROLLER_STATES: Final = {0: "in order again", 1: "error passive", 2: "bus-off"}
RESET_CAUSES: Final = {0: "power", 1: "reset", 2: "watchdog", 3: "brown-out"}
KEYS: Final = {
    "take": "take control pressed",
    "neutral_now": "neutral now pressed",
    "acknowledge": "acknowledge pressed",
    "silence": "silence pressed",
    "lock_out": "lock out pressed",
}

ALL_SUPPLIES_ON: Final = "supply on at every node"
SUPPLY_ON: Final = "{node}: supply on"
SUPPLY_GONE: Final = "{node}: supply gone"
PROGRAM_STARTS: Final = "{node}: program starts ({cause})"
KEY_PRESSED: Final = "{station}: {key}"
TOUCHED: Final = "{panel}: {control} touched"
LEVER_MOVED: Final = "{station}: {drive} lever goes {where}"
WHEEL_TURNED: Final = "{station}: wheel goes {side} {percent:g} %"
WHEEL_MIDSHIPS: Final = "{station}: wheel goes midships"
CRANKED: Final = "{drive}: start key turned, {seconds:g} s"
STARTER: Final = {
    0: "{drive}: starter lets go",
    1: "{drive}: starter turns",
    2: "{drive}: starter has no permission, nothing turns",
}
RUDDER_RESTS: Final = "rudder at rest, {degrees:g} degrees {side}"
RUDDER_MIDSHIPS: Final = "rudder at rest, midships"
SIDES: Final = {1: "to starboard", -1: "to port"}
STREAM: Final = "stream sets {set_deg:03d} degrees at {kn:.1f} kn"
SLACK: Final = "no stream any more"
ROW: Final = "{who}: {words}"
OTHER_ROW: Final = "row {row} of its table {machine}"
LOST_LEVER: Final = "nothing valid from {station} for {timeout} ms, {words}"
LOST: Final = "{cause}, {words}"
STATION_SHOWS: Final = "{station} shows: {shows}"
ALARM_SOUNDS: Final = {True: "{who}: alarm sounds", False: "{who}: alarm is quiet"}
ALARM_LINE: Final = "{who}: {priority} {alarm}{under}{state}"
ALARM_PRIORITIES: Final = {0: "caution", 1: "WARNING", 2: "EMERGENCY"}
ALARM_STATES: Final = {1: "", 2: ", acknowledged", 3: ", silenced", 4: ", over but not acknowledged"}
ALARM_DOUBTFUL: Final = ", no longer confirmed"
ALARMS_UNDER: Final = " ({count} more under it)"
ALARMS_HIDDEN: Final = "{who}: {count} more alarms than it shows"
NO_ALARMS: Final = "{who}: no alarms"
OTHER_ALARM: Final = "alarm {number}"
FIELD_SHOWS: Final = "{panel} shows: {control} {field}"
GEAR_IN: Final = "{drive}: gear in, {gear}"
GEAR_OUT: Final = "{drive}: gear out"
AT_STOP: Final = "{drive}: throttle at its stop"
OFF_STOP: Final = "{drive}: throttle opens"
ENGINE_STOPPED: Final = "{drive}: engine stopped"
ENGINE_RUNS: Final = "{drive}: engine runs"
LAMP_LIT: Final = "{zone}: lit"
LAMP_LIT_AT: Final = "{zone}: lit at {level} %"
LAMP_DARK: Final = "{zone}: dark"
FAULT_BEGINS: Final = "FAULT {fault}: {place}"
FAULT_ENDS: Final = "fault over, {fault}: {place}"
CONTROLLER: Final = "{node}: controller on {bus} {state}"
FUEL_CUT: Final = "{cutout}: the cutout stops the {drive} engine"
FUEL_BACK: Final = "{cutout}: the cutout lets the {drive} engine have its fuel again"
STOP_ASKED: Final = "{drive}: engine stop asked for"

# ------------------------------------------------------------------------------------------------ results

SOURCES: Final = {"plant": "machinery"}
"""Where evidence is from, where it is called otherwise than in the code."""

BOAT_LINE: Final = "boat: {name} ({path})   fingerprints: helm {helm:04x}, lighting {lighting:04x}"
SCENARIO_LINE: Final = "scenario: {name} ({path})   seed {seed}, {seconds:g} s"
TIMELINE_HEAD: Final = "what happened"
VERDICT_HEAD: Final = ("requirement", "verdict", "limit", "measured", "evidence")
LOSS_TITLE: Final = "control lost"
LOSS_HEAD: Final = ("drive", "last heard", "idle after", "gear out after", "way off after")
OVER_GROUND: Final = "{run} ({ground:.2f} m over ground)"
NO_HULL: Final = "metres not told: no hull given"
NOT_YET: Final = "-"
DIGEST_LINE: Final = "run code: {digest} ({frames} frames, {seconds:g} simulated seconds)"
REPRODUCE_LINE: Final = "again: {line}"
RECORD_LINE: Final = "record: {folder}"
NOTHING_TO_SHRINK: Final = "no requirement failed: there is nothing to make shorter"
SHRUNK: Final = "{requirement} still fails with {entries} things done and broken, {ends} ({runs} runs): {path}"
SHRUNK_RUN: Final = "run it: {line}"
SHRUNK_WHOLE: Final = "and with none of them less"
SHRUNK_SPENT: Final = "and there may be shorter ones"
REPLACED_LINE: Final = "kinds replaced: {kinds}"
ALL_PASSED: Final = "everything required here passed"
SOME_FAILED: Final = "FAILED: {names}"
NOT_AS_EXPECTED: Final = "NOT AS EXPECTED: {name} came to: {verdict}"
WEAKNESS_LINE: Final = "ACCEPTED WEAKNESS, not met: {name}, accepted {date}: {reason}"
WEAKNESSES_NOT_SHOWN: Final = "accepted weaknesses, never met, that this run had nothing of: {names}"
SOME_OPEN: Final = "not shown, though the scenario expects it: {names}"
SAME_AGAIN: Final = "the rerun is the same as the record, run code {digest}"
CUT_SHORT: Final = "the record ends after {seconds} s (it was cut short); the rerun is the same up to there"
NO_PICTURE: Final = "is there already, and is no picture that busim made: move it away, or name another folder with --to"
PICTURES_UNWRITTEN: Final = "pictures can't be written here: {why}"
NOT_THE_SAME: Final = (
    "busim contradicts itself: the rerun differs from the record in second {second} "
    "(unless somebody changed the record since, or a class that replaces a kind)"
)
OTHER_VERSION: Final = "was written by busim {theirs}, and busim {ours} runs it differently from second {second} on"
CHANGED_SINCE: Final = "was changed after the run: second {second} is not what the run code stands for"
KINDS_UNSAID: Final = "this record was played with classes of somebody's own. To run them, say so: {line}"
KINDS_UNLIKE: Final = "the record was not played with those classes: {line}"
RECORD_ENDS: Final = "record: {folder}, up to and with second {seconds}"
NO_FIELDS: Final = "no panel has a field that toggles zones on its first page: there is nothing to press"
PRESSES_LINE: Final = "{total:,} presses on fields that toggle, seed {seed}"
PRESSES_HEAD: Final = ("trouble", "pressed", "registered", "acted on", "reported", "lost", "median", "99 %", "worst")
PRESSES_TOGETHER: Final = "together"
PRESSES_GOOD: Final = "every press that a live panel registered was acted on or reported"
PRESSES_LOST: Final = "FAILED: {lost:,} presses were registered and lost without a word"
PRESSES_SLOW: Final = "FAILED: with nothing wrong, one press in a hundred takes 100 ms or longer"
STOPPED: Final = "stopped"
OUTPUT: Final = "output"
ENDED_BY_NODE: Final = "a node's module or class ended the program (sys.exit): a node may not"

# ------------------------------------------------------------------------------------------------ the transfer of control, explored

TRANSFER_NO_DRIVE: Final = "the boat has no drive: there is no control to transfer"
TRANSFER_WRITTEN_BEFORE: Final = "is there already: name a new file for the scenario"
TRANSFER_NO_FOLDER: Final = "there is no folder to write it in"
TRANSFER_EXPLORES: Final = "explored: {nodes}; steps of {slot} ms"
TRANSFER_ABSTRACTED: Final = (
    "taken for granted: machinery does in one step what it is told; heartbeats get through unless a trunk is cut; one thing "
    "happens in a step; no counter wraps while nobody hears it; no alarm and no neutral now"
)
TRANSFER_ROUND: Final = (
    "takes {takes}, disturbances {disturbances}, {holders}: {states:,} states, {transitions:,} transitions, "
    "depth {depth} ({depth_ms:,} ms), {how}"
)
TRANSFER_ANYBODY: Final = "from nobody and from each station in control"
TRANSFER_SOMEBODY: Final = "from nobody and from {names} in control"
TRANSFER_CLOSED: Final = "closed"
TRANSFER_OPEN: Final = "NOT closed: {open:,} states are open"
TRANSFER_UNFINISHED: Final = "stopped before it was closed"
TRANSFER_VIOLATION: Final = "VIOLATION"
TRANSFER_ONE: Final = (
    "one in control: drives that hear each other obeyed different takes for {apart} ms at the longest, two stations showed "
    "themselves in control for {both} ms (limit {limit} ms)"
)
TRANSFER_OLD: Final = "an old holder: no lever frame of a take that was over moved a drive"
TRANSFER_LIVE: Final = (
    "somebody can take control: from every state, once nothing more happens, within {settles} ms all is settled, and from there "
    "a take is complete within {takes} ms (limit {limit} ms)"
)
TRANSFER_ALL_CLOSED: Final = "no violation, and nothing left open ({seconds:.0f} s)"
TRANSFER_NOT_CLOSED: Final = "no violation as far as it went; more may come behind what is open ({seconds:.0f} s)"
TRANSFER_PATH: Final = "what happened"
TRANSFER_WRITTEN: Final = "scenario: {path}"
TRANSFER_PLAYED: Final = "a whole run of it fails {failed}, again: {line}"
TRANSFER_UNPLAYED: Final = {
    "late": "a frame that comes late", "twice": "a frame that comes twice", "order": "frames in another order",
}  # fmt: skip
TRANSFER_HELD: Final = "a whole run does not show it: a scenario has no words for {why}"
TRANSFER_NOT_PLAYED: Final = "no requirement fails in a whole run of it with the first {seeds} seeds"

# ------------------------------------------------------------------------------------------------ export

EXPORTED: Final = "{count} files in {folder}:"
LEFT_OVER: Final = "left from an earlier export, and not part of this one: {file}"
# ------------------------------------------------------------------------------------------------ logs, judged

AS_REPORTED: Final = ", as reported"
LEVER_ASKS: Final = "{station}: {drive} lever asks for {where}"
HEARD_AGAIN: Final = "{node}: heard again"
NOT_HEARD: Final = "{node}: not heard for {ms} ms"
STRANGE_FINGERPRINT: Final = "{node}: built from another boat file (helm {helm:04x}, lighting {lighting:04x})"
ALARM_RAISED: Final = "{who} says: {priority} {alarm}, {state}"
LIGHT_FAILED: Final = {True: "{light}: its lamp or fuse has failed", False: "{light}: its lamp and fuse are in order again"}
CONDITION_IS: Final = "navigation lights are to show: {condition}"
SILENCE: Final = "nothing on any bus until {until} s: she was off, or nobody recorded. Nothing is judged across it"
STAMPS_JUMP: Final = "the log's time runs back by {seconds} s: it begins anew here, and is judged anew"
LOG_ENDED: Final = "the log, or a stretch of it, ended"
LOG_LACKS: Final = "a log does not show {lacks}"
LOG_LOSS_HEAD: Final = ("drive", "last acted on", "idle after", "gear out after")
LOG_EMPTY: Final = "is empty: there is no frame in it"
LOG_NO_FRAMES: Final = "has no frame in it"
LOG_MISSING: Final = "no such file, a log was expected"
LOG_FOLDER: Final = "is a folder: a log is a file, a record a folder that busim wrote"
LOG_UNREADABLE: Final = "can't be read: {why}"
LOG_SUFFIX: Final = "its name does not say what log it is: it should end in one of {suffixes} (and .gz), or be as candump writes it"
LOG_NO_CANDUMP: Final = 'is no log as candump writes it, "(seconds) channel id#data"; it begins: {line}'
LOG_NOT_THIS_FORMAT: Final = "can't be read as {suffix}: {why}"
LOG_ENDS_EARLY: Final = "the log can't be read beyond its first {count:,} frames ({why}); what came before is judged"
LOG_IS_CANDUMP: Final = "it is as candump writes it, whatever its name says"
LOG_SPOILT: Final = "lines that are no frames, and are left out: {count:,}, the first is line {line}, {text}"
LOG_HALF_LINE: Final = "its last line is cut short: recording ended in the middle of it"
LOG_SHORTER: Final = "it is shorter than its head says: recording ended early, or the file was cut; what is there is judged"
LOG_LINE: Final = "log: {path}"
LOG_DIGEST: Final = "{frames:,} frames in {seconds:,.3f} s of log"
LOG_WITHOUT_BOAT: Final = "whose boat? A log does not say: name the boat file, busim judge LOG BOAT"
LOG_TRUTH_KEPT: Final = "judged by its frames alone; with machinery and displays: {line}"
LOG_NOTHING_JUDGED: Final = "nothing in it could be judged"
LOG_NOTES_HEAD: Final = "about the log"
LOG_ALL_PASSED: Final = "nothing that was judged failed"
LOG_OPEN: Final = "could not be decided: {names}"
LOG_NOT_SHOWN: Final = "{count} requirements need what no log shows (machinery, displays, hands): run, or show them aboard"
LOG_WEAKNESSES: Final = "this boat lists weaknesses lived with; a log does not show which fault was on, so none is weighed here"
FINDING: Final = "FINDING: {words}"
FINDING_FINGERPRINT: Final = (
    "{node} was built from another boat file (helm {helm:04x}, lighting {lighting:04x}): what is judged by this one may not hold"
)
COUNTS_FROM_FIRST: Final = "times count from its first frame"
STAMPS_BACK: Final = "frames whose time runs back, by {ms} ms at the most: {count:,}; they count as of the moment before"
CENSUS_UNKNOWN: Final = "frames no node of this boat sends: {count:,}, {ids}"
CENSUS_NODE: Final = "under the address of {node}"
CENSUS_NOBODY: Final = "address {address}, which nobody has"
CENSUS_OWN: Final = "frames with codes that are the boat file's own, by which nothing is judged: {count:,}"
CENSUS_SPOILT: Final = "frames with a wrong CRC: {count:,}, {ids}"
CENSUS_MISFITS: Final = "frames of a wrong length: {count:,}, {ids}"
CENSUS_ELSEWHERE: Final = "on {bus} are frames of nodes that are not on it: {nodes} (is a channel taken for the wrong bus? --bus)"
ODD_EXTENDED: Final = "frames with 29-bit ids, which no node of the boat hears: {count:,}{ids}"
ODD_REMOTE: Final = "remote frames, which no node of the boat hears: {count:,}"
ODD_ERROR: Final = "error frames, as the adapter counted them: {count:,}"
ODD_FLEXIBLE: Final = "frames of CAN FD, which disturb every node of the boat: {count:,}"
NEVER_IN_LOG: Final = "never heard: {nodes}"
NOBODY_IN_LOG: Final = "no node of this boat is heard: another boat's log, another bit rate, or a bus that is off?"
CHANNEL_IS: Final = "channel {channel} is taken for the bus {bus}: {why}"
CHANNEL_NAMELESS: Final = "without a name"
CHANNEL_TOLD: Final = "as told"
CHANNEL_NAMED: Final = "it is called so"
CHANNEL_SENDERS: Final = "its nodes send there"
CHANNEL_LEFT: Final = "no other fits, and nobody known sends there"
BUS_UNWRITTEN: Final = "{text} is not written as CHANNEL=BUS, like can0=main"
BUS_UNKNOWN: Final = "this boat has no bus {bus}: {meant}"
BUS_TWICE: Final = "channel {channel} is given twice"
FOUND_BY_ROW: Final = "{machine} row {row}"
FOUND_BY_ALARM: Final = "alarm {alarm}, {about}"

# ------------------------------------------------------------------------------------------------ a sweep

SWEEP_NO_MODE: Final = "the boat can't be brought to this mode"
SWEEP_NO_PLACE: Final = "the boat has no place for it"
SWEEP_LIGHTS_ELSEWHERE: Final = "touches lights only, and is swept where lights are worked: {modes}"
SWEEP_FROM_START: Final = "a mistake in wiring or building is there from the start, and begins in: {modes}"
SWEEP_THINNED: Final = (
    "durations: a cell has the most telling one (permanent, or once) and of the others one in turn, so that each place meets "
    "every duration in some mode, and each mode at some place",
    "in modes in which nothing moves (idle, moored), and for faults that touch lights only, one duration in turn",
    "moments: one for each run, drawn evenly over the frames and transitions the fault can touch, or in between",
    "settled states: 6 for each mode, each with phases and clock errors of its own",
    "why: what one run costs, a quarter of a second of a processor; --full runs every duration at 6 moments in every cell",
)
SWEEP_NOT_ASKED: Final = "not asked for"
SWEEP_NOTHING: Final = "nothing of what was asked for can be swept: no such place on this boat, or no mode that she can be in"
SWEEP_NO_FAULT: Final = "there is no fault {fault}: {near}"
SWEEP_NO_SUCH_MODE: Final = "there is no mode {mode}: {near}"
SWEEP_NO_ROOM: Final = "{free} MB are free on that disk, and the sweep needs about {needed} MB"
SWEEP_WENT_WRONG: Final = "{words}; what was done until then is kept, and goes on with: {line}"
SWEEP_STOPPED: Final = "{done} of {runs} runs are kept; to go on: {line}"
SWEEP_LOOKS: Final = "looking at her {mode}, with nothing broken"
SWEEP_NEAR: Final = "did you mean {key}?"
SWEEP_LIKE: Final = "a run is named like 'cut: helm at 12 m/ahead_full/permanent/0', as a sweep prints it"
SWEEP_NO_RUN: Final = "there is no run {key}: {near}"
SWEEP_AGAIN: Final = "run: {key}; the fault begins {moment}, at {at_s:.6f} s; seed {seed}"
SWEEP_WRITTEN_BEFORE: Final = "is there already: name a new file"
SWEEP_NOT_SWEPT: Final = "the boat is not swept: she fails with nothing broken"
SWEEP_FAILS_UNDISTURBED: Final = "  {mode}: {why}"
SWEEP_HEAD: Final = "{faults} faults modelled; {cells:,} cells of fault, place and mode; {runs:,} runs; seed {seed}"
SWEEP_UNMODELLED: Final = "not modelled: {name} ({why})"
SWEEP_LEFT_OUT: Final = "mode left out: {mode}, {why}"
SWEEP_EMPTY: Final = "empty: {cells:,} cells of {what}, {why}"
SWEEP_SEVERAL: Final = "several faults"
SWEEP_THINNED_LINE: Final = "thinned: {line}"
SWEEP_PAGE: Final = "the failure-mode table as a page: {path}"
SWEEP_PAIRS_PROGRESS: Final = "{done} of {runs} pairs of faults"
SWEEP_PAIRS_STOPPED: Final = "stopped; what was done is kept. Go on with: {line}"
SWEEP_FOLDER: Final = "kept in {folder}"
SWEEP_PROGRESS: Final = "{done:,} of {runs:,} runs, {failed:,} failed, about {minutes} min {seconds:02d} s left"
SWEEP_FAILURE: Final = "FAILED {requirement} in {runs:,} runs: {faults}{more}"
SWEEP_MORE: Final = "; {more} places more"
SWEEP_ACCEPTED: Final = "ACCEPTED WEAKNESS, not met: {name}, in {count:,} runs: {what}"
SWEEP_UNDER: Final = "{name} under {fault} ({count:,})"
SWEEP_ACCEPTED_UNSEEN: Final = "accepted in the boat file, and no run of this sweep showed it: {name}: {what}"
SWEEP_ROWS: Final = "state table {table}: {taken} of {known} rows taken"
SWEEP_NEVER: Final = "never exercised, so not shown: {names}"
SWEEP_PEOPLE: Final = "not for a sweep: {name}, {why}"
SWEEP_INCONCLUSIVE: Final = "inconclusive in some runs: {names}"
SWEEP_LEFT: Final = "{left:,} of {runs:,} runs are left, the least telling ones"
SWEEP_TOTAL: Final = "{runs:,} runs, {seconds:,} simulated seconds, {failed:,} runs failed"
SWEEP_PASSED: Final = "nothing failed but what was accepted"

# ------------------------------------------------------------------------------------------------ programs plugged in

PLUG_HEAD: Final = "plugged into the bus {bus}, {bit_rate:,} bit/s; Ctrl-C ends it"
PLUG_WITHOUT: Final = "left out, for the programs to play in the order in which they come: {nodes}"
NEVER_BRIDGED: Final = (
    "everything here is simulated. Programs on this computer may take part; never bridge it to a live boat, nor to a bus with "
    "anything on it that moves"
)
PLUG_PORT: Final = "slcan over TCP: {host}:{port} (python-can: interface slcan, channel socket://{host}:{port})"
PLUG_TERMINAL: Final = "slcan on a pseudo-terminal: {path}"
PLUG_NEWS: Final = "{seconds:9.3f} s  {words}"
CLIENT_CAME: Final = "{client} is here, as {node}"
CLIENT_TOO_MANY: Final = "{client} was turned away: {most} programs are here already, which is the most"
CLIENT_RATE: Final = (
    "{client} asked for {asked:,} bit/s and was refused: the bus has {bit_rate:,}. On a wire it would have disturbed everybody"
)
CLIENT_DONE: Final = "{client} {how}: {heard:,} frames heard, {sent:,} handed in, {refused:,} commands refused"
CLIENT_OTHER_FRAMES: Final = ", {count:,} of them 29-bit or remote frames, which no node of a boat sends"
CLIENT_LEFT: Final = "left"
CLIENT_STUCK: Final = "was dropped, as it does not read what it is sent ({kib} KiB waited for it)"
CLIENT_AT_END: Final = "was here until the end"
PLUGGED: Final = "plugged in for {seconds} s, run code {digest} ({frames:,} frames; what programs send is in it)"
LATENESS: Final = "behind the clock: {median:.2f} ms in the median, {high:.2f} ms at 99 %, {worst:.2f} ms at worst"
STOOD_STILL: Final = "the computer was held up {times} times, and simulated time stood still for {seconds:.1f} s in all"
BUS_IS_NOT: Final = "this boat has no bus {bus}: {meant}"
NODE_IS_NOT: Final = "no node {node} is on the bus {bus}: {meant}"
NODE_TWICE: Final = "{node} is named twice"
THEY_ARE: Final = "there are"
SEATS_ARE: Final = "there is room for {most} programs at once"
NO_PTY: Final = "no pseudo-terminal can be had ({why}): use --port"
PORT_TAKEN: Final = "port {port} can't be opened on this computer ({why}): another program may have it; --port 0 takes a free one"
HANDS_HELP: Final = "help"
HANDS_UNKNOWN: Final = "nobody knows how to {word}: {meant} (help lists them)"
HANDS_ARE: Final = "there are"
HANDS_TOO_MANY: Final = "{word} is followed by {usage}, and no more"

# ------------------------------------------------------------------------------------------------ what a frame says

SENDER_AT: Final = "node {address}"
NO_NODE: Final = "nobody"
NO_DATA: Final = "no data"
FRAME_OF_BOAT_FILE: Final = "{can_id:03X}: a message of the boat file's own, {data}"
FRAME_UNKNOWN: Final = "{can_id:03X}: no message of this protocol, {data}"
FRAME_MISFIT: Final = ": of {length} bytes, {wanted} are right"
FRAME_SPOILT: Final = ": its CRC is wrong"
FRAME_ODD: Final = {
    1: "{can_id:08X}: a 29-bit frame, which no node of a boat sends",
    2: "{can_id:03X}: a remote frame, which no node of a boat sends",
    3: "an error frame of the adapter",
    4: "{can_id:03X}: a CAN FD frame, which no node of a boat sends",
}
