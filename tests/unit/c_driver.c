/* The exported C spoken to in lines, for tests: one request a line on standard input, one answer a line on standard output.
 *
 *   pack MESSAGE ADDRESS COUNTER VALUE...   -> RESULT ID DATA
 *   unpack MESSAGE ID DATA                  -> RESULT VALUE...
 *   counter start GAP | counter ID DATA     -> verdict on a lever frame of station 1
 *   pair start BUSES GAP | pair BUS COUNTER -> verdict
 *   beat start BUSES | beat NOW [BUS ID DATA]   -> good, missing, other boat
 *   drive start | drive NOW [BUS ID DATA]   -> STATION NUMBER GEAR THROTTLE
 *   row TABLE STATE EVENT                   -> row number and next state, or none
 *   fill STATE CAUSE BUILD COUNTER          -> ID DATA of this node's heartbeat
 *   zone NUMBER                             -> its driver's address and its outputs, or none
 *   newer NUMBER THAN, next NUMBER, tables REVISION, duty LEVEL STEPS, scene NUMBER ZONE, stamp
 *
 * Messages and tables by their place; data in hexadecimal, "-" for none. The drive is built of nothing but exported rules, tables and
 * the exported node it is linked with. */

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "busim_node.h"
#include "busim_rules.h"

#include "glue.h"

#define WORDS 24

static const char *const verdicts[] = {"duplicate", "counts", "refused"};

static void read_frame(char *const *words, busim_frame *frame)
{
    const char *data = strcmp(words[1], "-") == 0 ? "" : words[1];
    unsigned byte = 0u;
    memset(frame, 0, sizeof *frame);
    frame->id = (uint16_t)strtoul(words[0], NULL, 16);
    while (frame->length < 8u && sscanf(&data[2u * frame->length], "%2x", &byte) == 1) {
        frame->data[frame->length++] = (uint8_t)byte;
    }
}

static unsigned number_of(const char *word)
{
    return (unsigned)strtoul(word, NULL, 10);
}

/* ---------------------------------------------------------------------------------- messages */

static void pack(char *const *words, int count)
{
    int32_t values[TEST_MOST_SIGNALS] = {0};
    busim_frame frame = {0u, 0u, {0u}};
    busim_result result;
    int place;
    for (place = 3; place < count; place++) {
        values[place - 3] = (int32_t)strtol(words[place], NULL, 10);
    }
    result = test_pack((uint8_t)number_of(words[0]), values, (uint8_t)number_of(words[1]), (uint8_t)number_of(words[2]), &frame);
    printf("%d %03X ", (int)result, (unsigned)frame.id);
    for (place = 0; place < (int)frame.length; place++) {
        printf("%02X", (unsigned)frame.data[place]);
    }
    printf("\n");
}

static void unpack(char *const *words)
{
    int32_t values[TEST_MOST_SIGNALS] = {0};
    busim_frame frame;
    const uint8_t message = (uint8_t)number_of(words[0]);
    busim_result result;
    uint8_t place;
    read_frame(&words[1], &frame);
    result = test_unpack(message, &frame, values);
    printf("%d", (int)result);
    for (place = 0u; place < test_signals[message] && (result == BUSIM_OK || result == BUSIM_OUT_OF_RANGE); place++) {
        printf(" %ld", (long)values[place]);
    }
    printf("\n");
}

/* ---------------------------------------------------------------------------------- counters and heartbeats */

static void counter(char *const *words)
{
    static busim_counter_watch watch;
    busim_frame frame;
    busim_lever lever;
    if (strcmp(words[0], "start") == 0) {
        busim_counter_start(&watch, (uint8_t)number_of(words[1]));
        printf("started\n");
        return;
    }
    read_frame(words, &frame);
    if (frame.id != busim_id(BUSIM_CODE_LEVER, 1u) || busim_lever_unpack(&frame, &lever) != BUSIM_OK) {
        printf("fails\n");
        return;
    }
    printf("%s\n", verdicts[busim_counter_judge(&watch, busim_counter_of(&frame))]);
}

static void pair(char *const *words)
{
    static busim_pair_watch watch;
    if (strcmp(words[0], "start") == 0) {
        busim_pair_start(&watch, (uint8_t)number_of(words[1]), (uint8_t)number_of(words[2]), (uint32_t)number_of(words[3]));
        printf("started\n");
        return;
    }
    printf("%s\n", verdicts[busim_pair_judge(&watch, (uint32_t)strtoul(words[0], NULL, 10), (uint8_t)number_of(words[1]),
                                             (uint8_t)number_of(words[2]))]);
}

static void beat(char *const *words, int count)
{
    static busim_heartbeat_watch watch;
    busim_frame frame;
    uint32_t now_ms;
    if (strcmp(words[0], "start") == 0) {
        busim_heartbeat_start(&watch, (uint8_t)number_of(words[1]));
        printf("started\n");
        return;
    }
    now_ms = (uint32_t)strtoul(words[0], NULL, 10);
    if (count > 1) {
        read_frame(&words[2], &frame);
        (void)busim_heartbeat_hear(&watch, now_ms, (uint8_t)number_of(words[1]), &frame);
    }
    printf("%s\n", busim_heartbeat_good(&watch, now_ms) ? "good"
                   : busim_heartbeat_missing(&watch, now_ms) ? "missing" : "other boat");
}

/* ---------------------------------------------------------------------------------- a drive: whom it obeys, and what that asks */

#define STATIONS 16u

static struct {
    busim_heartbeat_watch heartbeat[STATIONS];
    busim_pair_watch claim_counter[STATIONS];
    busim_claim_watch claim[STATIONS];
    busim_pair_watch lever_counter;
    busim_timeout lever;
    uint8_t station;
    uint16_t number;
    busim_asked before;
    busim_asked asked;
} drive;

static void lose(void)
{
    drive.station = 0u;
    drive.asked.gear = BUSIM_GEAR_NEUTRAL;
    drive.asked.throttle_permille = 0u;
}

static void drive_start(void)
{
    uint8_t station;
    memset(&drive, 0, sizeof drive);
    for (station = 1u; station < STATIONS; station++) {
        const busim_watched *claims = busim_node_watch_of(busim_id(BUSIM_CODE_CLAIM, station));
        const uint8_t buses = claims != NULL ? claims->buses : 0u;
        busim_heartbeat_start(&drive.heartbeat[station], buses);
        busim_pair_start(&drive.claim_counter[station], buses, BUSIM_BOAT_TIMING_MAX_GAP,
                         busim_pair_limit_ms(BUSIM_CODE_CLAIM));
        busim_claim_start(&drive.claim[station]);
    }
}

static void drive_look(uint32_t now_ms)
{
    const busim_watched *levers = busim_node_watch_of(busim_id(BUSIM_CODE_LEVER, drive.station));
    if (drive.station == 0u || levers == NULL) {
        return;
    }
    if (busim_timeout_over(&drive.lever, now_ms, levers->timeout_ms)
        || !busim_heartbeat_good(&drive.heartbeat[drive.station], now_ms)) {
        lose();
    }
}

static void drive_claim(uint32_t now_ms, uint8_t bus, uint8_t station, const busim_frame *frame)
{
    busim_claim claim;
    busim_claim_says says;
    const busim_result result = busim_claim_unpack(frame, &claim);
    if ((result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE)
        || busim_pair_judge(&drive.claim_counter[station], now_ms, bus, busim_counter_of(frame)) != BUSIM_ACCEPTED) {
        return;
    }
    says = busim_claim_hear(&drive.claim[station], &claim, BUSIM_TAKES_DRIVE_1);
    if (says == BUSIM_CLAIM_SAYS_WITHDRAWN && station == drive.station && claim.number == drive.number) {
        lose();
    }
    if (says == BUSIM_CLAIM_SAYS_TAKE && drive.claim[station].in_neutral
        && busim_take_outbids(claim.number, station, drive.number, drive.station)
        && busim_heartbeat_good(&drive.heartbeat[station], now_ms)) {
        lose();
        drive.before = drive.asked;
        drive.station = station;
        drive.number = claim.number;
        busim_timeout_feed(&drive.lever, now_ms);
        busim_pair_start(&drive.lever_counter, drive.claim_counter[station].buses, BUSIM_BOAT_TIMING_MAX_GAP,
                         busim_pair_limit_ms(BUSIM_CODE_LEVER));
    }
}

static void drive_lever(uint32_t now_ms, uint8_t bus, const busim_frame *frame)
{
    busim_lever lever;
    busim_asked asked;
    const busim_result result = busim_lever_unpack(frame, &lever);
    if ((result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE)
        || busim_pair_judge(&drive.lever_counter, now_ms, bus, busim_counter_of(frame)) != BUSIM_ACCEPTED
        || lever.number != drive.number || !busim_lever_asks(&lever, 1u, &asked)) {
        return;
    }
    busim_timeout_feed(&drive.lever, now_ms);
    if (lever.lever_fault != 0u) {
        lose();
        return;
    }
    drive.asked = busim_both_ask(drive.before, asked);
    drive.before = asked;
}

static void drive_frame(uint32_t now_ms, uint8_t bus, const busim_frame *frame)
{
    const busim_watched *row = busim_node_watch_of(frame->id);
    const uint8_t station = busim_address_of(frame->id);
    busim_neutral_now neutral_now;
    if (row == NULL || ((unsigned)row->buses >> bus & 1u) == 0u || frame->length != row->length || station >= STATIONS) {
        return;
    }
    switch (busim_code_of(frame->id)) {
    case BUSIM_CODE_HEARTBEAT:
        if (busim_heartbeat_hear(&drive.heartbeat[station], now_ms, bus, frame) && station == drive.station
            && !drive.heartbeat[station].same_helm) {
            lose();
        }
        break;
    case BUSIM_CODE_NEUTRAL_NOW:
        if (busim_neutral_now_unpack(frame, &neutral_now) == BUSIM_OK && neutral_now.pressed != 0u) {
            lose();
        }
        break;
    case BUSIM_CODE_CLAIM:
        drive_claim(now_ms, bus, station, frame);
        break;
    case BUSIM_CODE_LEVER:
        if (station == drive.station) {
            drive_lever(now_ms, bus, frame);
        }
        break;
    default:
        break;
    }
}

static void drive_line(char *const *words, int count)
{
    busim_frame frame;
    uint32_t now_ms;
    if (strcmp(words[0], "start") == 0) {
        drive_start();
        printf("started\n");
        return;
    }
    now_ms = (uint32_t)strtoul(words[0], NULL, 10);
    if (count > 1) {
        drive_look(now_ms - 1u); /* a frame of this very moment comes before what is due in it */
        read_frame(&words[2], &frame);
        drive_frame(now_ms, (uint8_t)number_of(words[1]), &frame);
    } else {
        drive_look(now_ms);
    }
    printf("%u %u %u %u\n", (unsigned)drive.station, drive.station != 0u ? (unsigned)drive.number : 0u, (unsigned)drive.asked.gear,
           (unsigned)drive.asked.throttle_permille);
}

/* ---------------------------------------------------------------------------------- tables */

static void row(char *const *words)
{
    static const busim_state_table *const tables[] = {
        &busim_drive_table, &busim_station_table, &busim_rudder_table, &busim_cutout_table, &busim_alarm_table};
    const busim_row *found = busim_row_of(tables[number_of(words[0])], (uint8_t)number_of(words[1]), (uint8_t)number_of(words[2]));
    if (found == NULL) {
        printf("none\n");
    } else {
        printf("%u %u\n", (unsigned)found->number, (unsigned)found->next_state);
    }
}

static void scene(char *const *words)
{
    const busim_scene_plan *found = busim_scene_numbered((uint8_t)number_of(words[0]));
    const busim_scene_level *level = found != NULL ? busim_scene_level_of(found, (uint8_t)number_of(words[1])) : NULL;
    if (level == NULL) {
        printf("none\n");
    } else {
        printf("%ld %u %ld %u\n", (long)found->fade_ms, (unsigned)level->level_permille, (long)level->colour, (unsigned)level->kelvin);
    }
}

static void fill(char *const *words)
{
    busim_heartbeat heartbeat;
    busim_frame frame = {0u, 0u, {0u}};
    int place;
    busim_heartbeat_fill(&heartbeat, (uint8_t)number_of(words[0]), (uint8_t)number_of(words[1]), (uint8_t)number_of(words[2]));
    (void)busim_heartbeat_pack(&heartbeat, BUSIM_NODE_ADDRESS, (uint8_t)number_of(words[3]), &frame);
    printf("%03X ", (unsigned)frame.id);
    for (place = 0; place < (int)frame.length; place++) {
        printf("%02X", (unsigned)frame.data[place]);
    }
    printf("\n");
}

static void zone(char *const *words)
{
    const busim_zone_plan *found = busim_zone_numbered((uint8_t)number_of(words[0]));
    uint16_t place;
    if (found == NULL) {
        printf("none\n");
        return;
    }
    printf("%ld", (long)found->driver);
    for (place = 0u; place < found->channels_count; place++) {
        printf(" %u", (unsigned)found->channels[place]);
    }
    printf("\n");
}

static void answer(char *const *words, int count)
{
    if (strcmp(words[0], "pack") == 0) {
        pack(&words[1], count - 1);
    } else if (strcmp(words[0], "unpack") == 0) {
        unpack(&words[1]);
    } else if (strcmp(words[0], "counter") == 0) {
        counter(&words[1]);
    } else if (strcmp(words[0], "pair") == 0) {
        pair(&words[1]);
    } else if (strcmp(words[0], "beat") == 0) {
        beat(&words[1], count - 1);
    } else if (strcmp(words[0], "drive") == 0) {
        drive_line(&words[1], count - 1);
    } else if (strcmp(words[0], "row") == 0) {
        row(&words[1]);
    } else if (strcmp(words[0], "newer") == 0) {
        printf("%d\n", (int)busim_number_newer((uint16_t)number_of(words[1]), (uint16_t)number_of(words[2])));
    } else if (strcmp(words[0], "fill") == 0) {
        fill(&words[1]);
    } else if (strcmp(words[0], "zone") == 0) {
        zone(&words[1]);
    } else if (strcmp(words[0], "next") == 0) {
        printf("%u\n", (unsigned)busim_number_next((uint16_t)number_of(words[1])));
    } else if (strcmp(words[0], "tables") == 0) {
        printf("%s\n", busim_scene_table_same((uint16_t)number_of(words[1])) ? "same" : "other");
    } else if (strcmp(words[0], "duty") == 0) {
        printf("%u\n", (unsigned)busim_duty_for((uint16_t)number_of(words[1]), (uint16_t)number_of(words[2])));
    } else if (strcmp(words[0], "scene") == 0) {
        scene(&words[1]);
    } else if (strcmp(words[0], "stamp") == 0) {
        printf("%s\n", busim_boat_stamp);
    } else {
        printf("unknown\n");
    }
}

int main(void)
{
    char line[512];
    char *words[WORDS + 1];
    while (fgets(line, (int)sizeof line, stdin) != NULL) {
        int count = 0;
        char *word = strtok(line, " \n");
        while (word != NULL && count < WORDS) {
            words[count++] = word;
            word = strtok(NULL, " \n");
        }
        if (count > 0) {
            answer(words, count);
        }
    }
    return 0;
}
