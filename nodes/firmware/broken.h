/* Builds that are broken on purpose, to show that a bench finds them. None is ever for a boat.
 *
 * Each is one switch of the compiler (-DBROKEN_BYTE_ORDER); with none of them this file changes nothing. What each does stands
 * where it does it: search for its name.
 *   BROKEN_WRONG_ID          safety frames but the heartbeat go out under the id of the next address
 *   BROKEN_BYTE_ORDER        the six bytes of content of safety frames go out back to front, with a CRC that fits
 *   BROKEN_COUNTER_IGNORED   every sound frame counts, whatever its counter
 *   BROKEN_CRC_UNCHECKED     a frame counts whatever its CRC
 *   BROKEN_TIMEOUTS_TRIPLED  it waits three times as long for what fell silent
 *   BROKEN_BEAT_FROM_TIMER   heartbeats go on while the main task is dead
 */

#ifndef BROKEN_H
#define BROKEN_H

#if defined(BROKEN_WRONG_ID) || defined(BROKEN_BYTE_ORDER) || defined(BROKEN_COUNTER_IGNORED) || defined(BROKEN_CRC_UNCHECKED) || \
    defined(BROKEN_TIMEOUTS_TRIPLED) || defined(BROKEN_BEAT_FROM_TIMER)
#define NODE_IS_BROKEN 1
#else
#define NODE_IS_BROKEN 0
#endif

#endif /* BROKEN_H */
