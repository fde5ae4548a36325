"""Every word the screen of a rehearsal says, in one place, so that they can be read together. Plain text, no markup.

What a state row, a cause, an alarm, a fault or a requirement is called stands in its own table; what the command line and the
timeline say stands in `busim.labels`.
"""

from typing import Final

from busim.labels import ALARM_PRIORITIES, ALARM_STATES, CONTROLLER_STATES, FIELDS, GEARS, OTHER_ALARM, SHOWS

__all__ = ["ALARM_PRIORITIES", "ALARM_STATES", "CONTROLLER_STATES", "FIELDS", "GEARS", "OTHER_ALARM", "SHOWS"]

# ------------------------------------------------------------------------------------------------ always there

VIEWS: Final = {"boat": "boat", "helm": "helm", "bus": "bus", "faults": "faults", "verdicts": "verdicts"}
STATUS: Final = "{boat}  {seconds} s  {pace}"
PAUSED: Final = "PAUSED (space goes on)"
PACE: Final = "x {rate:g}"
LATE: Final = " (the computer is behind)"
LOOKS: Final = {"day": "day", "dusk": "dusk", "night": "night"}
IN_CONTROL: Final = "in control: {station}"
NOBODY: Final = "nobody"
BANNER_NOBODY: Final = "NOBODY IN CONTROL: {why}. Put a station's levers in neutral (0), then take control there (t)"
NOBODY_YET: Final = "since power came, nobody has taken it"
NOBODY_CAUSE: Final = "{cause}"
BANNER_FORCED: Final = "{what}, by the drives themselves. In control: {station}"
FORCED_NEUTRAL: Final = "NEUTRAL IS FORCED"
FORCED_IDLE: Final = "IDLE IS FORCED"
FORCED_DRIVE: Final = "{drive}: {state}. Why: {cause}{unheard}"
UNHEARD: Final = " (nobody hears it: this is what its own node did)"
UNHEARD_DRIVE: Final = "NOBODY HEARS {drive} any more: silent for {seconds} s"
NODE_DEAD: Final = "its node does not run"
BANNER_DIVIDED: Final = "THE DRIVES OBEY DIFFERENT STATIONS: {who}"
OBEYS: Final = "{drive} obeys {station}"
BANNER_CUT: Final = "ENGINE STOPPED BY A NODE: {who}"
CUT_BY: Final = "{drive} by {nodes}"
BANNER_ALARM: Final = "{priority} {alarm}{state} (alarms shown: {count}{sounds}; a acknowledges, s silences)"
SOUNDS: Final = ", sounding"
BANNER_FAULTS: Final = "faults on: {faults}"
TOO_SMALL: Final = "This screen is too small: 60 columns and 16 lines are the least"
LOOKING_BACK: Final = "LOOKING BACK at {seconds} s; End comes back to now. What is shown is over, and nothing can be done to it"
MORE_ABOVE: Final = "... {count} more above"
MORE_BELOW: Final = "... {count} more below"
BOAT_STOPPED: Final = "THE BOAT HAS STOPPED: {words}"

# ------------------------------------------------------------------------------------------------ the boat

PLAN_HEAD: Final = "Lights, seen from above"
BOW: Final = "bow"
UNPLACED: Final = "in the order of the boat file, which says of none where it is"
NAVIGATION_LIT: Final = "navigation lit:"
NAVIGATION_DARK: Final = "dark:"
NONE_LIT: Final = "none"
NO_LIGHTS: Final = "this boat has no lights on the bus"
DARK: Final = "dark"
LIT: Final = "lit"
LEVEL: Final = "{percent:.0f} %"
PANEL_DARK: Final = "dark: its program does not run"
PANEL_PAGE: Final = "page {page}"
PANEL_KEYS: Final = "tab: next panel   arrows: field   enter: touch   h: hold 2 s"
PANELS_OTHER: Final = "other panels: {names}"
DOES: Final = {
    "on": "on", "off": "off", "toggle": "on/off", "level": "level", "dim": "dims", "colour": "colour", "scene": "scene",
    "page": "page", "all_off": "all off", "condition": "by rule",
}  # fmt: skip

COLOUR_NAMES: Final = {
    "red": "red", "orange": "orange", "yellow": "yellow", "green": "green", "cyan": "cyan", "blue": "blue", "violet": "violet",
    "white": "white", "warm": "warm", "cool": "cool",
}  # fmt: skip

# ------------------------------------------------------------------------------------------------ scenes at the table

TABLE_HEAD: Final = "Scene table: levels set by hand. Nothing on board changes, nothing is sent"
TABLE_FROM_LAMPS: Final = "begun from the lamps as they are"
TABLE_FROM_SCENE: Final = "begun from the scene {scene}"
TABLE_ZONE: Final = "{zone}: {level}"
LEFT_ALONE: Final = "left alone"
SCENE_NAME: Final = "Name of the scene (a new one, or one that is to change). Enter saves, escape leaves it."
SCENE_CHANGES: Final = "What would change in {path}:"
SCENE_NO_CHANGE: Final = "nothing: the file says so already"
SCENE_NO_NAME: Final = "small letters a to z, digits and _, a letter first"
SCENE_SAVED: Final = "saved: {name} in {path}. Drivers and panels on the bus need the new tables: begin anew to try it"
SCENE_TAKEN_BACK: Final = "taken back: {path} is as it was"
SCENE_NOTHING: Final = "nothing to take back"
NO_FILE: Final = "this boat came without a file of yours: nothing can be saved into it (busim begin makes one)"

# ------------------------------------------------------------------------------------------------ the helm

HELM_HEAD: Final = "Drives"
WAY: Final = "way on: {knots} kn through the water, {metres} m run"
DRIVE_GEARS: Final = "asked {asked}, says {sensed}, is {true}"
GEAR_WORDS: Final = {None: "?", 0: "neutral", 1: "AHEAD", 2: "ASTERN", 3: "between"}
DRIVE_ENGINE: Final = "{throttle:3.0f} %  {rpm} rpm"
ENGINE_OFF: Final = "engine stopped (e starts it)"
DRIVE_OBEYS: Final = "obeys {station}: {state}"
RUDDER_LINE: Final = "rudder {angle}, asked {asked}, steered from {station}{fault}"
RUDDER_FAULT: Final = "  FAULT: {words}"
RUDDER: Final = "rudder"
MIDSHIPS: Final = "midships"
STARBOARD: Final = "starboard"
PORT: Final = "port"
ANGLE: Final = "{degrees:.0f}° {side}"
WHEEL: Final = "wheel"
LEVER_AT: Final = "{gear} {percent} %"
BUTTONS: Final = (
    ("t take control", "take"), ("n NEUTRAL NOW", "neutral_now"), ("a acknowledge", "acknowledge"), ("s silence", "silence"),
)  # fmt: skip
PULL_PLUG: Final = "u pull the plug"
PUT_PLUG: Final = "u plug it in"
UNPLUGGED: Final = "UNPLUGGED"
LEVER_CHOSEN: Final = "up/down move {levers} (d: another)"
BOTH_LEVERS: Final = "both levers"
ONE_LEVER: Final = "the {drive} lever"
MORE_ALARMS: Final = "{count} more"
ALARM_UNDER: Final = ", {count} more under it"

# ------------------------------------------------------------------------------------------------ the bus

NODES_HEAD: Final = "Nodes: age of the last heartbeat, missing at {limit} ms; TEC/REC"
NEVER_HEARD: Final = "never heard"
SILENT_FOR: Final = "silent {seconds} s"
BUS_STATE: Final = {0: "", 1: " PASSIVE", 2: " BUS-OFF"}
LOAD: Final = "{bus} {bar} {load:.0f} %, {frames} frames/s"
FRAMES_HEAD: Final = "Traffic, newest last"
FRAMES_KEYS: Final = "/: filter   x: hold"
FILTERED: Final = ', only with "{filter}"'
HELD: Final = ", HELD at {seconds} s (x lets it run)"
NO_FRAMES: Final = "nothing"
FILTER_ASK: Final = "Show only frames with these letters in bus, sender or message. Empty: all. Enter: show, escape: leave it."
ADDRESS: Final = "address {number}"
CODE: Final = "code {number}"
NOT_SOUND: Final = "not sound: {data}"

# ------------------------------------------------------------------------------------------------ faults

FAULTS_ON: Final = "Faults that are on"
NONE_ON: Final = "none"
MEND: Final = "mend"
FAULTS_HEAD: Final = "What can break"
PLACES_HEAD: Final = "and where (left, right)"
NO_PLACE: Final = "nowhere on this boat"
YES: Final = "yes"
NO: Final = "no"
BREAK: Final = "enter: break it here"
FAULT_TWICE: Final = "another fault acts on the same {what} already"
BETWEEN: Final = "{place}, between {one} and {other}"
BROKEN: Final = "broken: {fault}, {place}"

# ------------------------------------------------------------------------------------------------ verdicts

VERDICTS_HEAD: Final = "What was shown, as if it ended now"
VERDICTS_COUNT: Final = "{passed} pass, {failed} fail, {open} not exercised or open"
NOT_JUDGED: Final = "nothing judged yet"
OF_LIMIT: Final = " of {limit}"
EVIDENCE: Final = "{evidence} ({source}{at})"
EVIDENCE_AT: Final = ", at {seconds} s"
VERDICT_MARKS: Final = {"pass": "+", "fail": "X", "not exercised": ".", "inconclusive": "?", "accepted weakness": "w"}
SELF_REPORTED_MARK: Final = "~"

# ------------------------------------------------------------------------------------------------ keys

KEYS_FIRST: Final = "F1 help | "
KEYS_EVERYWHERE: Final = " | 1-5 views  space pause  +/- pace  [ ] back in time  l look  g be led  ^p more  q end"
KEYS_OF_VIEW: Final = {
    "boat": "tab panel  arrows field  enter touch  h hold  w scene table",
    "helm": "t take  n NEUTRAL NOW  up down 0 lever  left right c wheel  tab next",
    "bus": "/ filter  x hold",
    "faults": "up/down what  left/right where  enter break  m mend",
    "verdicts": "up/down choose",
    "table": "^s save  w leave  arrows zone, level  0 dark  x left alone  c colour  v scene  ^z take back",
    "help": "up/down scroll  F1 back",
}
KEYS_HELP: Final = {
    "1 2 3 4 5": "views: boat, helm, bus, faults, verdicts",
    "space": "pause, and go on",
    "+ -": "faster, slower: 0.1 to 10 times real time",
    "[ ]": "back and forward in time by a line of what happened; PgUp and PgDn by ten; Home: the start; End: now",
    "tab": "the next station; on the boat view the next panel",
    "t": "its take key",
    "n": "its neutral-now key: every drive, whoever is in control",
    "o": "its lock-out key, held: shuts out a neutral-now key that is stuck elsewhere",
    "a s": "acknowledge, silence its alarms",
    "up down": "its levers, a tenth at a time; 0: to neutral; d: both levers, or one",
    "left right": "its wheel, a tenth at a time; c: midships",
    "e": "turn the start keys of engines that stand",
    "u": "pull the pendant's plug, or put it in",
    "arrows enter": "on the boat view: choose a field of the panel and touch it; h holds it for two seconds",
    "w": "the scene table: set levels by hand and save them as a scene of the boat file",
    "/ x": "on the bus view: filter the traffic, hold it",
    "arrows enter m": "on the faults view: choose what and where, break it, mend what broke last",
    "g": "be led: the five guided rehearsals",
    "l": "day, dusk and night",
    "ctrl+p": "everything there is, by name",
    "q": "end the rehearsal",
}
HELP_BOAT: Final = "This boat"
HELP_KEYS: Final = "Keys"
HELP_MOUSE: Final = "The mouse works everywhere: touch fields and keys, drag a lever or a wheel along its line."
HELP_CAUTION: Final = (
    "Nothing here is connected to a boat. What passes here has still to be shown on the real one, shaft disconnected or propeller "
    "clear, boat secured, somebody at a cut-off of actuator power."
)
PALETTE_ASK: Final = "What do you want to do? Type a few letters of it"
PALETTE_VIEW: Final = "view: {view}"
PALETTE_LOOK: Final = "look: {look}"
PALETTE_GUIDE: Final = "be led: {title}"
PALETTE_TAKE: Final = "take control at {station}"
PALETTE_NEUTRAL: Final = "neutral now at {station}"
PALETTE_FAULT: Final = "break: {fault}"
PALETTE_MEND: Final = "mend: {fault}, {place}"
PALETTE_PAUSE: Final = "pause, or go on"
PALETTE_HELP: Final = "help: this boat, and the keys"
PALETTE_TABLE: Final = "scene table"
PALETTE_QUIT: Final = "end the rehearsal"
PALETTE_LESS: Final = "stop being led"

# ------------------------------------------------------------------------------------------------ this boat, in words

FACT_BOAT: Final = "{name}: {length:g} m on the waterline. She may run {run:g} m at {speed:g} kn after control is lost: {limit} ms."
FACT_STATION: Final = "Station {station}: may take {drives}{more}."
FACT_STEERS: Final = " and steer"
FACT_MATCHED: Final = "; control may be taken with the levers where gear and throttle are"
FACT_TRACKS: Final = "; two sensors on each lever"
FACT_PLUG: Final = "; on a plug"
FACT_NO_STATION: Final = "Nobody can drive her over the bus: she has no station."
FACT_DRIVE: Final = "Drive {drive}: {timeout} ms without a valid lever frame, and it acts by itself: {loss}, from that frame on."
FACT_LOSS_NEUTRAL: Final = "idle within {idle} ms, neutral within {neutral} ms"
FACT_LOSS_IDLE: Final = "idle within {idle} ms, still in gear"
FACT_WHY: Final = "   because: {why}"
FACT_POWERLESS: Final = (
    "   without power its throttle {throttle}, its shift {shift}; {permit}; the engine stops without the bus by: {stop}"
)
FACT_POWERLESS_WORDS: Final = {"stays": "stays", "springs_to_idle": "springs to idle", "springs_to_neutral": "springs to neutral"}
FACT_SWITCH: Final = "started only with its neutral switch closed"
FACT_NO_SWITCH: Final = "no independent neutral switch"
FACT_CUTOUT: Final = "Cutout {cutout}: stops the {drive} engine where its gear is not out {ms} ms after that."
FACT_RUDDER: Final = "Rudder: on loss it stays where it is and alarms; throttle is then held at {percent:g} % at most."
FACT_ONE_LOST: Final = {
    "carry_on": "When one drive is lost, the other carries on.",
    "neutral": "When one drive is lost, the other goes to neutral too.",
}
FACT_PARTED: Final = {
    "each_obeys": "Drives that can't hear each other each obey whoever reaches them.",
    "neutral": "Drives that can't hear each other go to neutral.",
}
FACT_TAKE: Final = "A take needs levers in neutral and is complete within {ms} ms, or withdrawn. An old holder's lever is dead."
FACT_REARM: Final = "After a forced neutral nothing engages until the fault is gone, a lever was neutral, and control was taken."
FACT_LIGHTS: Final = "Lights: {zones} zones; without the bus they stay as they are{but}."
FACT_LIGHTS_ON: Final = ", but {zones} go on"
FACT_NAVIGATION: Final = "Navigation lights follow the boat's condition, and no scene, fade or all-off."

# ------------------------------------------------------------------------------------------------ being led

GUIDE_STEP: Final = "> {title}, {step} of {steps}: {words}"
GUIDE_SEEN: Final = "SEEN: {words}"
GUIDE_DONE: Final = "done: {words}"
GUIDES_ARE: Final = "there is no guide {name}: {meant}"
GUIDE_NEEDS: Final = "this boat has not what the guide {name} needs"
GUIDE_ASK: Final = "Which rehearsal leads you? Its number, or escape."
GUIDE_TITLES: Final = {
    "first_light": "first light",
    "take_control": "take control and go ahead",
    "cut_the_cable": "cut the cable",
    "hand_over": "hand over to {second}",
    "night_scene": "the night scene",
}
DO_TOUCH: Final = "press 1 for the boat view, choose a field that says on/off or dims with the arrows, and touch it with enter"
DO_DARK: Final = "touch it again, until every lamp is dark"
DO_TAKE: Final = "press 2 for the helm; levers in neutral (0), then t takes control"
DO_AHEAD: Final = "go ahead: press up five times, and wait for the gear"
DO_NEUTRAL: Final = "back to neutral: press 0"
DO_CUT: Final = "press 4 for the faults; with left and right choose a place to cut between a station and a drive; enter cuts"
DO_WATCH: Final = "press 2 for the helm, and touch nothing: the drive is on its own"
DO_MEND: Final = "now mend it: m"
DO_TAKE_ANEW: Final = "levers to neutral (0), and take control anew (t)"
DO_TAKE_FIRST: Final = "press 2 for the helm, and take control at {first}: t"
DO_TAKE_OTHER: Final = "choose {second} with tab, and press t there"
DO_BRIGHT: Final = "press 1 for the boat view; with tab, arrows and enter touch a field that lights several lamps: {bright}"
DO_NIGHT: Final = "now touch the night scene ({night}): everything dark, or lit very low"
WHY_FIRST_LIGHT: Final = (
    "The panel numbered your touch and sent it to each zone until the zone's own report carried that number.",
    "That is why a field says done only when the lamp's driver did it, and failed within a second when it could not.",
)
WHY_TAKE_CONTROL: Final = (
    "A drive obeys one station, by the number of its take. It engages only at idle, on two lever frames that agree, and follows",
    "what the last frames say: one frame is enough to reduce, two are needed to add.",
)
WHY_CUT: Final = (
    "Nobody told the drive to go to neutral: it heard nothing valid from its station for the control timeout, and went idle and",
    "then neutral by itself. The mended cable gave nothing back: control is taken, with levers in neutral.",
)
WHY_HAND_OVER: Final = (
    "Only the station that takes decides: the one that had control can't hold on to it, and its lever is dead until it takes",
    "anew. A take is complete when every drive, and the rudder, report the new station; else it is withdrawn.",
)
WHY_NIGHT: Final = (
    "One touch asked every driver for its part of the scene, by the table it holds; each answered with the scene's number.",
    "The navigation lights did not move: they follow the boat's condition, and no scene.",
)
SEEN_VERDICT: Final = "{id} {verdict}{measured}: {evidence}"
SEEN_MEASURED: Final = ", {measured}"

# ------------------------------------------------------------------------------------------------ the command

NO_TERMINAL: Final = "no terminal to draw on: instead of a rehearsal, this is the scenario that `busim run` plays"
NO_TERMINAL_GUIDE: Final = "a guided rehearsal needs a terminal to draw on"
REHEARSED: Final = "rehearsed {seconds} s, run code {digest}"
RERUN_LINE: Final = "again: {line}"
