/*
 * What travels between bridge and controller, in the forms that need no floating point: advice and
 * beats in, acks out. C99, no dynamic memory, no recursion; every length has a bound.
 */
#ifndef WIRE_H
#define WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define WIRE_LARGEST 200u  /* longest payload that is looked at [bytes] */
#define WIRE_ACTIONS 15u   /* what advice is about, 0 for none */
#define WIRE_REASONS 26u   /* why there is none, 0 with advice */
#define WIRE_ACK_ROOM 160u /* the longest ack and its final zero byte fit [bytes] */

#define WIRE_FULL 1000       /* positions are thousandths of full */
#define WIRE_LEFT_ALONE (-1) /* nothing is said about this position */

enum wire_target {
    WIRE_FAN,
    WIRE_DOOR,
    WIRE_WATER, /* humidifier */
    WIRE_COOL,  /* refrigeration */
    WIRE_HEAT,
    WIRE_TARGETS
};

struct wire_advice {
    uint32_t boot, seq;         /* of the bridge */
    uint32_t for_boot, for_seq; /* of the reading that it rests on */
    uint16_t ttl;               /* age of that reading at which the advice ends [s] */
    uint8_t mode;               /* 1 to be shown, 2 a person may confirm it, 3 may be followed */
    uint8_t action;             /* 0: none, and all positions left alone */
    uint8_t reason;
    int16_t position[WIRE_TARGETS];
};

struct wire_beat {
    uint32_t boot, seq;
    bool birth; /* the bridge asks for the birth */
};

struct wire_ack {
    uint32_t boot;                /* of the controller */
    uint32_t ref_boot, ref_seq;   /* names the advice */
    const char *code;
    int16_t position[WIRE_TARGETS]; /* taken */
};

/* Advice in the form of integers: one flat array. False for anything else. */
bool wire_read_advice(const char *payload, size_t length, struct wire_advice *advice);

/* A beat: one flat object; keys that are not known are passed over. False for anything else. */
bool wire_read_beat(const char *payload, size_t length, struct wire_beat *beat);

/* JSON with a zero byte at the end; its length, or 0 where `room` is too small [bytes]. */
size_t wire_write_ack(const struct wire_ack *ack, char *out, size_t room);

#endif
