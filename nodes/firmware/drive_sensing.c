/* What the drive senses: its sensors taken together. Decides nothing. */

#include "drive.h"

#define NEUTRAL_WITHIN_PERMILLE 100
#define IN_GEAR_PERMILLE 900
#define BEYOND_ENDS_PERMILLE 1150 /* a feedback further beyond its ends is broken, and shows no gear */
#define STOP_PERMILLE 10
#define BELOW_STOP_PERMILLE 30 /* a feedback further below its stop is broken, and shows nothing */

void drive_senses_start(drive_senses *senses, bool has_neutral_switch)
{
    senses->shift_permille = DRIVE_UNSEEN;
    senses->throttle_permille = DRIVE_UNSEEN;
    senses->rpm = DRIVE_UNSEEN;
    senses->neutral_switch = has_neutral_switch ? BUSIM_SWITCH_FAULTY : BUSIM_SWITCH_NOT_FITTED;
    senses->switch_seen = !has_neutral_switch;
}

bool drive_all_seen(const drive_senses *senses)
{
    return senses->shift_permille != DRIVE_UNSEEN && senses->throttle_permille != DRIVE_UNSEEN && senses->rpm != DRIVE_UNSEEN &&
           senses->switch_seen;
}

bool drive_throttle_at_stop(const drive_senses *senses)
{
    return senses->throttle_permille >= -BELOW_STOP_PERMILLE && senses->throttle_permille <= STOP_PERMILLE;
}

uint8_t drive_sensed_gear(const drive_senses *senses)
{
    const int32_t at = senses->shift_permille;
    const bool closed = senses->neutral_switch == BUSIM_SWITCH_CLOSED;
    if (at < -BEYOND_ENDS_PERMILLE || at > BEYOND_ENDS_PERMILLE) { /* or never read */
        return BUSIM_GEAR_BETWEEN_OR_UNKNOWN;
    }
    if (at >= -NEUTRAL_WITHIN_PERMILLE && at <= NEUTRAL_WITHIN_PERMILLE) {
        return closed || senses->neutral_switch == BUSIM_SWITCH_NOT_FITTED ? BUSIM_GEAR_NEUTRAL : BUSIM_GEAR_BETWEEN_OR_UNKNOWN;
    }
    if (closed) {
        return BUSIM_GEAR_BETWEEN_OR_UNKNOWN;
    }
    if (at >= IN_GEAR_PERMILLE) {
        return BUSIM_GEAR_AHEAD;
    }
    return at <= -IN_GEAR_PERMILLE ? BUSIM_GEAR_ASTERN : BUSIM_GEAR_BETWEEN_OR_UNKNOWN;
}
