"""Every word of the failure-mode table, in the terminal and on its page, so that they can be read together."""

from typing import Final

SEVERITIES: Final = ("nothing", "told", "less", "adrift", "danger")
SEVERITY_WORDS: Final = (
    "nothing anybody would notice",
    "somebody is told, and everything goes on",
    "a light, a station or one engine less until it is mended",
    "no thrust or no steering from any station for a while, with way on or not, gears out",
    "a gear in, thrust or a rudder that nobody in control asked for; or a requirement against such a hazard failed",
)

NOBODY: Final = "nobody is told"
FOUND: Final = "{who}: {what}"
FOUND_SOME: Final = "in {told} of {runs} runs"

SEES: Final = "{who} {what}"
SEES_NOTHING: Final = "nothing"
DO_STOP: Final = "Stop the engine without the bus: {how}. Keep everybody away from the propeller."
DO_RETAKE: Final = "Levers to neutral, then take control anew, here or at another station; if none answers, anchor or fend off."
DO_OTHER: Final = "Drive on with what still answers; mend it before you leave again."
DO_STEER: Final = "Slow down and steer with the engines; the rudder stays where it is."
DO_LIGHTS: Final = "Work the light's own switch, and look at its fuse and lamp. By night without it, keep out of others' way."
DO_READ: Final = "Acknowledge, read which node it is, and look there."
DO_TEST: Final = "Nothing tells you: find it at the check before you cast off."
DO_NOTHING: Final = "Nothing to do."

RESIDUAL_NONE: Final = "none found"
RESIDUAL_IN_GEAR: Final = "{drives} stays in gear or off idle; instead: {how}, and a cutout where one is fitted"
RESIDUAL_WRONG_WAY: Final = "{drives} pushes the other way; instead: {how}"
RESIDUAL_RUDDER: Final = "the rudder is {deg:g} deg from where it was; instead: its actuator's own switch, and the engines"
RESIDUAL_DARK: Final = "{lights} dark; instead: the light's own switch and a lamp on batteries"
RESIDUAL_LATENT: Final = "latent: it waits for the next fault; instead: a test before casting off"

UNNEEDED: Final = "{count} of {runs}"
PASSED: Final = "pass"
ACCEPTED: Final = "accepted weakness"
FAILED: Final = "FAIL"

TABLE_HEAD: Final = ("fault", "worst place", "severity", "found", "gear out", "run", "thrust again", "verdict")
NOT_REACHED: Final = "never"
NONE: Final = "-"
LATENT_TITLE: Final = "Latent: nobody is told of these, and nothing shows until something else fails"
NO_LATENT: Final = "no fault stayed hidden"
WORST_TITLE: Final = "The worst run of each fault that did not pass"

PAGE_TITLE: Final = "{boat}: what happens when one thing breaks"
PAGE_INTRO: Final = (
    "Each fault that busim models was put in at every place it can be at, in every mode she can be in, at moments that matter. "
    "This page says what became of it: in simulation, on a model. It proves nothing about the real boat. What passes here has "
    "still to be shown on her: first with the shaft disconnected or the propeller clear, somebody at a cut-off of actuator power, "
    "and a means to stop each engine that needs no bus. Local rules, class, insurer and a qualified surveyor come first."
)
PAGE_RUNS: Final = "{runs:,} runs, {seconds:,.0f} simulated seconds, seed {seed}. Fingerprints: helm {helm}, lighting {lighting}."
PAGE_FAILED: Final = "Failed, and not accepted by the boat file: {names}."
PAGE_NONE_FAILED: Final = "No requirement failed beyond what the boat file accepts by name."
PAGE_OUT: Final = "Time from the last valid lever frame until the gear was out"
PAGE_OUT_WORDS: Final = "Per fault: shortest, median and longest of all runs that lost control. The line is the boat's limit."
PAGE_RUN: Final = "Metres run until the gear was out"
PAGE_RUN_WORDS: Final = (
    "Through the water. The line is what the boat file allows at docking speed; faster modes run farther and are not judged by it."
)
PAGE_FOUND: Final = "Time until somebody was told"
PAGE_FOUND_WORDS: Final = (
    "From the fault to the first alarm, display or safe state that tells of it. Faults that nobody tells of are in the list below."
)
PAGE_TABLE: Final = "Faults, the severest first"
PAGE_MODES: Final = "Modes"
PAGE_LEFT_OUT: Final = "What was left out"
PAGE_RULE: Final = "How severity is counted"
CARD_TERMS: Final = {
    "effect": "what breaks",
    "runs": "runs",
    "modes": "modes",
    "found": "found by",
    "found_after": "found after",
    "severity": "severity",
    "to_idle": "throttle at idle after",
    "to_neutral": "gear out after",
    "run": "run until then",
    "way_off": "way off after gear out",
    "works": "still works",
    "works_not": "lost",
    "unneeded": "thrust lost without need",
    "again": "thrust again after",
    "sees": "the crew sees",
    "does": "the crew does",
    "verdict": "verdict",
    "residual": "what remains",
    "reproduce": "see the worst again",
}
WORST_MEDIAN: Final = "{worst} at worst, {median} in the middle"

PAIRS_TITLE: Final = "Two faults at once: {pairs:,} pairs tried; of the second nobody was told in {quiet:,}"
PAIRS_NONE: Final = "no pair came to more than its faults come to alone"
PAIRS_WORDS: Final = "A sample, not a proof, and no verdict: the boat is asked to stand one fault. The worst of them:"
PAIR: Final = "{under}, then {fault}: {place}, {mode}: {severity}{failed}"
PAIR_FAILED: Final = "; failed {names}"
