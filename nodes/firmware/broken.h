/* Builds that are broken on purpose, to show that a bench finds them. None is ever for a boat.
 *
 * Each is one switch of the compiler (-DBROKEN_BYTE_ORDER); with none of them this file changes nothing. What each does stands
 * where it does it: search for its name.
 *   BROKEN_WRONG_ID          what a drive reports to its station, and a station's lever, go out under another message's id
 *   BROKEN_BYTE_ORDER        the 16-bit numbers of heartbeat and lever go out with their bytes exchanged
 *   BROKEN_COUNTER_IGNORED   every sound frame counts, whatever its counter
 *   BROKEN_CRC_UNCHECKED     a frame counts whatever its CRC
 *   BROKEN_TIMEOUTS_TRIPLED  it waits three times as long for what fell silent
 *   BROKEN_BEAT_FROM_TIMER   heartbeats go on while the main task is dead; a drive's dies with its first gear
 *   BROKEN_NO_TIMEOUT        a drive never lets go of a station whose lever it does not hear any more
 *   BROKEN_REENGAGES         a drive obeys a station it has lost again as soon as its lever is heard
 *   BROKEN_OBEYS_OLD_HOLDER  a drive goes on following the lever of the station that had it before
 *   BROKEN_ENGAGES_ABOVE_IDLE  a drive puts a gear in whatever throttle and engine do
 */

#ifndef BROKEN_H
#define BROKEN_H

#if defined(BROKEN_WRONG_ID) || defined(BROKEN_BYTE_ORDER) || defined(BROKEN_COUNTER_IGNORED) || defined(BROKEN_CRC_UNCHECKED) || \
    defined(BROKEN_TIMEOUTS_TRIPLED) || defined(BROKEN_BEAT_FROM_TIMER) || defined(BROKEN_NO_TIMEOUT) || \
    defined(BROKEN_REENGAGES) || defined(BROKEN_OBEYS_OLD_HOLDER) || defined(BROKEN_ENGAGES_ABOVE_IDLE)
#define NODE_IS_BROKEN 1
#else
#define NODE_IS_BROKEN 0
#endif

#endif /* BROKEN_H */
