/*
 * The receiving rules of a bay controller, for small firmware: C99, no dynamic memory, no floating
 * point, no recursion, and of the C library only memcmp, memcpy and memset. README.md has the
 * duties around it.
 *
 * All times are milliseconds of one free-running counter that nobody sets; it may wrap. Read it
 * once per turn of the loop and hand the same value to every call of that turn. Not reentrant: one
 * task owns a receiver; interrupts only set flags for that task.
 */
#ifndef RECEIVER_H
#define RECEIVER_H

#include "wire.h"

#define RECEIVER_RING 16u /* so many of its last readings a controller remembers */

/*
 * So long one confirmation covers what comes after it [ms]. Our judgement, to be adapted to the
 * store: long enough to be of use, short enough that a person looks again while outside air and
 * pile are still about as they were.
 */
#define RECEIVER_CONSENT 3600000u

/* So far from what was confirmed a position may go without being confirmed again [thousandths]. */
#define RECEIVER_NEAR 100

/* What became of a piece of advice; receiver_code_name() has the words of the ack. */
enum receiver_code {
    RECEIVER_SHOWN,    /* for people; moves nothing */
    RECEIVER_ACCEPTED, /* followed as it is */
    RECEIVER_CLAMPED,  /* followed within the controller's own limits */
    RECEIVER_NONE,     /* the bridge has no advice: own program */
    RECEIVER_STALE,    /* its reading is too old or unknown */
    RECEIVER_REPLAY,   /* not newer than the last */
    RECEIVER_BOOT,     /* rests on a reading of another run of this controller */
    RECEIVER_BEAT,     /* no beat of the bridge is alive (dead-man): own program */
    RECEIVER_RATE,     /* too soon after the last that moved anything */
    RECEIVER_INTERLOCK,
    RECEIVER_LOCAL,    /* the local switch does not allow it */
    RECEIVER_SCHEMA,   /* malformed, too long, out of range, or with more than is known here */
    RECEIVER_RETAINED, /* kept by a broker from earlier */
    RECEIVER_CODES
};

/* The controller's own limits, from its own settings; nothing over the air can change them. */
struct receiver_limits {
    int16_t door_most;     /* widest door [thousandths] */
    int16_t fan_least;     /* lowest speed of a running fan [thousandths] */
    uint16_t ttl_most;     /* longest life of advice, whatever it says [s] */
    uint16_t beat_timeout; /* dead-man: silence of the bridge that ends all advice [s] */
    uint16_t accept_every; /* least time between two pieces that move anything [s] */
};

struct receiver_answer {
    enum receiver_code code;
    uint32_t ref_boot, ref_seq;     /* names the advice; 0, 0 where it could not be read */
    int16_t position[WIRE_TARGETS]; /* taken; all left alone unless accepted or clamped */
};

struct receiver_reading {
    bool fresh;
    uint32_t seq;
    uint32_t taken; /* [ms] */
};

struct receiver_advice {
    bool stands;
    bool may_confirm; /* mode 2 */
    uint8_t action;   /* what it is about */
    uint32_t seq;   /* of the reading that it rests on */
    uint32_t taken; /* when that reading was taken [ms] */
    uint32_t life;  /* age of that reading at which the advice ends [ms] */
    int16_t position[WIRE_TARGETS];
};

/* What a person has confirmed; it stands only while advice under it is followed. */
struct receiver_consent {
    bool stands;
    uint8_t action;                 /* what it was about */
    uint32_t given;                 /* when; later advice does not renew it [ms] */
    int16_t position[WIRE_TARGETS]; /* as it was shown, before the controller's own limits */
};

/* Look into it as you like, and clear asked_birth; all else changes through the functions only. */
struct receiver {
    uint32_t boot;
    struct receiver_limits limits;
    bool sound; /* the limits make sense */
    bool remote;
    bool interlock;
    bool asked_birth; /* the bridge wants the birth again: send it, then clear this */
    bool heard;       /* a beat has ever come */
    bool alive;       /* ... and lately */
    bool advised;     /* advice has ever come */
    bool moved;       /* ... and lately moved something */
    uint32_t beat_boot, beat_seq, beat_at;
    uint32_t advice_boot, advice_seq;
    uint32_t moved_at;
    uint8_t next; /* place of the next reading */
    struct receiver_reading ring[RECEIVER_RING];
    struct receiver_advice shown;
    struct receiver_advice followed;
    struct receiver_consent consent;
};

/*
 * Begin. `boot` must differ from that of every earlier run. The local switch begins at "local".
 * False where a limit makes no sense; such a receiver never follows anything.
 */
bool receiver_start(struct receiver *r, uint32_t boot, const struct receiver_limits *limits);

/* Once a second or oftener, also when nothing comes: ends what has aged, so that no age wraps. */
void receiver_tick(struct receiver *r, uint32_t now);

/* A reading has been taken and is about to be published. */
void receiver_note_reading(struct receiver *r, uint32_t seq, uint32_t now);

/* A beat of the bridge has come; false where it says nothing. */
bool receiver_take_beat(struct receiver *r, const char *payload, size_t length, bool retained,
                        uint32_t now);

/* Advice has come, in the form of integers; answer every piece with an ack. */
struct receiver_answer receiver_take(struct receiver *r, const char *payload, size_t length,
                                     bool retained, uint32_t now);

/* The local switch, and the state of the wired protection. */
void receiver_set_remote(struct receiver *r, bool remote, uint32_t now);
void receiver_set_interlock(struct receiver *r, bool tripped, uint32_t now);

/*
 * A person at the controller accepts the advice that is shown; false where it has ended. The answer
 * is a second ack to that advice: publish it. For RECEIVER_CONSENT this covers later advice of
 * mode 2 too, as long as it is about the same and stays near what was confirmed; receiver_take()
 * then answers it as accepted or clamped.
 */
bool receiver_confirm(struct receiver *r, uint32_t now, struct receiver_answer *answer);

/*
 * What to follow at this moment; false: run your own program. Ask in every turn of the loop, and
 * let frost cut-out, minimum times, ramps and interlocks act after it.
 */
bool receiver_standing(struct receiver *r, uint32_t now, int16_t position[WIRE_TARGETS]);

const char *receiver_code_name(enum receiver_code code);

/* The ack as JSON with a zero byte at the end; its length, or 0 where `room` is too small. */
size_t receiver_write_ack(const struct receiver *r, const struct receiver_answer *answer,
                          char *out, size_t room);

#endif
