#include "receiver.h"

#include <string.h>

static void leave_alone(int16_t position[WIRE_TARGETS])
{
    size_t n;

    for (n = 0; n < (size_t)WIRE_TARGETS; n++) {
        position[n] = WIRE_LEFT_ALONE;
    }
}

/* ---- time ----------------------------------------------------------------------------------- */

/* Right across a wrap of the counter; where the clock steps back, everything becomes very old. */
static uint32_t age(uint32_t now, uint32_t then)
{
    return now - then;
}

static uint32_t milliseconds(uint16_t seconds)
{
    return (uint32_t)seconds * 1000u;
}

bool receiver_start(struct receiver *r, uint32_t boot, const struct receiver_limits *limits)
{
    memset(r, 0, sizeof *r);
    r->boot = boot;
    r->limits = *limits;
    r->sound = limits->door_most >= 0 && limits->door_most <= WIRE_FULL &&
               limits->fan_least >= 0 && limits->fan_least <= WIRE_FULL;
    return r->sound;
}

/* A consent never outlives what is followed under it. */
static void end_followed(struct receiver *r)
{
    r->followed.stands = false;
    r->consent.stands = false;
}

/* What has ended stays ended: the flags fall here and never rise by time alone. */
void receiver_tick(struct receiver *r, uint32_t now)
{
    size_t n;

    for (n = 0; n < RECEIVER_RING; n++) {
        if (age(now, r->ring[n].taken) > milliseconds(r->limits.ttl_most)) {
            r->ring[n].fresh = false;
        }
    }
    if (age(now, r->beat_at) > milliseconds(r->limits.beat_timeout)) {
        r->alive = false;
    }
    if (age(now, r->moved_at) >= milliseconds(r->limits.accept_every)) {
        r->moved = false;
    }
    if (age(now, r->shown.taken) > r->shown.life) {
        r->shown.stands = false;
    }
    if (!r->sound || !r->remote || r->interlock || !r->alive ||
        age(now, r->followed.taken) > r->followed.life ||
        (r->consent.stands && age(now, r->consent.given) > RECEIVER_CONSENT)) {
        end_followed(r);
    }
}

/* ---- readings and beats --------------------------------------------------------------------- */

static const struct receiver_reading *find_reading(const struct receiver *r, uint32_t seq)
{
    size_t n;

    for (n = 0; n < RECEIVER_RING; n++) {
        if (r->ring[n].fresh && r->ring[n].seq == seq) {
            return &r->ring[n];
        }
    }
    return NULL;
}

void receiver_note_reading(struct receiver *r, uint32_t seq, uint32_t now)
{
    size_t n;

    receiver_tick(r, now);
    for (n = 0; n < RECEIVER_RING; n++) {
        if (r->ring[n].seq == seq) {
            r->ring[n].fresh = false; /* a number names one reading only */
        }
    }
    r->ring[r->next].fresh = true;
    r->ring[r->next].seq = seq;
    r->ring[r->next].taken = now;
    r->next = (uint8_t)((r->next + 1u) % RECEIVER_RING);
}

static bool is_newer(uint32_t boot, uint32_t seq, uint32_t last_boot, uint32_t last_seq)
{
    return boot > last_boot || (boot == last_boot && seq > last_seq);
}

bool receiver_take_beat(struct receiver *r, const char *payload, size_t length, bool retained,
                        uint32_t now)
{
    struct wire_beat beat;

    receiver_tick(r, now);
    if (retained || !wire_read_beat(payload, length, &beat)) {
        return false;
    }
    if (r->heard && !is_newer(beat.boot, beat.seq, r->beat_boot, r->beat_seq)) {
        return false;
    }
    r->heard = true;
    r->alive = true;
    r->beat_at = now;
    r->beat_boot = beat.boot;
    r->beat_seq = beat.seq;
    r->asked_birth = r->asked_birth || beat.birth;
    return true;
}

/* ---- advice --------------------------------------------------------------------------------- */

/* Cut positions down to the controller's own limits; true where that changes something. */
static bool clamp(const struct receiver *r, int16_t position[WIRE_TARGETS])
{
    bool changed = false;

    if (position[WIRE_FAN] > 0 && position[WIRE_FAN] < r->limits.fan_least) {
        position[WIRE_FAN] = r->limits.fan_least;
        changed = true;
    }
    if (position[WIRE_DOOR] > r->limits.door_most) {
        position[WIRE_DOOR] = r->limits.door_most;
        changed = true;
    }
    return changed;
}

/* Is it for this run, newer than the last, and of a reading young enough? Else the code says. */
static bool is_due(const struct receiver *r, const struct wire_advice *wire, bool retained,
                   uint32_t now, struct receiver_advice *advice, enum receiver_code *code)
{
    const struct receiver_reading *reading = find_reading(r, wire->for_seq);

    if (retained) {
        *code = RECEIVER_RETAINED;
    } else if (wire->for_boot != r->boot) {
        *code = RECEIVER_BOOT;
    } else if (r->advised && !is_newer(wire->boot, wire->seq, r->advice_boot, r->advice_seq)) {
        *code = RECEIVER_REPLAY;
    } else {
        *code = RECEIVER_STALE;
        if (reading == NULL) {
            return false;
        }
        advice->stands = true;
        advice->may_confirm = wire->mode == 2u;
        advice->action = wire->action;
        advice->seq = reading->seq;
        advice->taken = reading->taken;
        advice->life =
            milliseconds(wire->ttl < r->limits.ttl_most ? wire->ttl : r->limits.ttl_most);
        memcpy(advice->position, wire->position, sizeof advice->position);
        return age(now, advice->taken) <= advice->life;
    }
    return false;
}

/*
 * Has a person consented to this already? It must be about the same, leave alone the same
 * positions, and stay near what was confirmed, not near what came last: a slow drift ends the
 * consent. What was confirmed as off or shut stays so: no machine starts unconfirmed.
 */
static bool is_covered(const struct receiver *r, const struct receiver_advice *advice)
{
    size_t n;

    if (!r->consent.stands || !advice->may_confirm || advice->action != r->consent.action) {
        return false;
    }
    for (n = 0; n < (size_t)WIRE_TARGETS; n++) {
        const int16_t seen = r->consent.position[n];
        const int16_t aim = advice->position[n];

        if (seen <= 0 ? aim != seen /* left alone, off or shut */
                      : aim < 0 || aim < seen - RECEIVER_NEAR || aim > seen + RECEIVER_NEAR) {
            return false;
        }
    }
    return true;
}

/* What may be done with advice that is due. */
static enum receiver_code judge(const struct receiver *r, const struct wire_advice *wire,
                                struct receiver_advice *advice)
{
    if (wire->action == 0u) {
        return RECEIVER_NONE;
    }
    if (r->interlock || !r->sound) {
        return RECEIVER_INTERLOCK;
    }
    if (!r->remote) {
        return RECEIVER_LOCAL;
    }
    if (wire->mode < 3u && !is_covered(r, advice)) {
        return RECEIVER_SHOWN;
    }
    if (!r->alive) {
        return RECEIVER_BEAT; /* it would move nothing, so it is not called accepted */
    }
    if (r->moved) {
        return RECEIVER_RATE;
    }
    return clamp(r, advice->position) ? RECEIVER_CLAMPED : RECEIVER_ACCEPTED;
}

static void follow(struct receiver *r, const struct receiver_advice *advice, uint32_t now)
{
    r->followed = *advice;
    r->moved = true;
    r->moved_at = now;
}

struct receiver_answer receiver_take(struct receiver *r, const char *payload, size_t length,
                                     bool retained, uint32_t now)
{
    struct receiver_answer answer = {RECEIVER_SCHEMA, 0, 0, {0}};
    struct receiver_advice advice;
    struct wire_advice wire;

    leave_alone(answer.position);
    receiver_tick(r, now);
    if (!wire_read_advice(payload, length, &wire)) {
        return answer;
    }
    answer.ref_boot = wire.boot;
    answer.ref_seq = wire.seq;
    if (!is_due(r, &wire, retained, now, &advice, &answer.code)) {
        return answer; /* what stood before stands until it ends by itself */
    }
    r->advised = true;
    r->advice_boot = wire.boot;
    r->advice_seq = wire.seq;
    r->shown.stands = false;
    answer.code = judge(r, &wire, &advice);
    if (answer.code == RECEIVER_ACCEPTED || answer.code == RECEIVER_CLAMPED) {
        follow(r, &advice, now);
        r->consent.stands = r->consent.stands && advice.may_confirm;
        memcpy(answer.position, advice.position, sizeof answer.position);
    } else if (answer.code != RECEIVER_RATE) {
        end_followed(r);
    }
    if (answer.code == RECEIVER_SHOWN) {
        r->shown = advice;
    }
    return answer;
}

/* ---- at the controller ---------------------------------------------------------------------- */

void receiver_set_remote(struct receiver *r, bool remote, uint32_t now)
{
    r->remote = remote;
    receiver_tick(r, now);
}

void receiver_set_interlock(struct receiver *r, bool tripped, uint32_t now)
{
    r->interlock = tripped;
    receiver_tick(r, now);
}

bool receiver_confirm(struct receiver *r, uint32_t now, struct receiver_answer *answer)
{
    receiver_tick(r, now);
    if (!r->sound || !r->remote || r->interlock || !r->alive || !r->shown.stands ||
        !r->shown.may_confirm || find_reading(r, r->shown.seq) == NULL) {
        return false;
    }
    r->consent.stands = true;
    r->consent.action = r->shown.action;
    r->consent.given = now;
    memcpy(r->consent.position, r->shown.position, sizeof r->consent.position);
    answer->code = clamp(r, r->shown.position) ? RECEIVER_CLAMPED : RECEIVER_ACCEPTED;
    answer->ref_boot = r->advice_boot; /* what came later would have taken the place of this */
    answer->ref_seq = r->advice_seq;
    memcpy(answer->position, r->shown.position, sizeof answer->position);
    follow(r, &r->shown, now);
    r->shown.stands = false;
    return true;
}

bool receiver_standing(struct receiver *r, uint32_t now, int16_t position[WIRE_TARGETS])
{
    receiver_tick(r, now);
    leave_alone(position);
    if (r->followed.stands) {
        memcpy(position, r->followed.position, sizeof r->followed.position);
    }
    return r->followed.stands;
}

/* ---- answers -------------------------------------------------------------------------------- */

const char *receiver_code_name(enum receiver_code code)
{
    static const char *const NAMES[RECEIVER_CODES] = {
        "shown", "accepted", "clamped", "none",      "stale", "replay",
        "boot",  "beat",     "rate",    "interlock", "local", "schema", "retained",
    };

    return NAMES[(unsigned)code < (unsigned)RECEIVER_CODES ? code : RECEIVER_SCHEMA];
}

size_t receiver_write_ack(const struct receiver *r, const struct receiver_answer *answer,
                          char *out, size_t room)
{
    struct wire_ack ack;

    ack.boot = r->boot;
    ack.ref_boot = answer->ref_boot;
    ack.ref_seq = answer->ref_seq;
    ack.code = receiver_code_name(answer->code);
    memcpy(ack.position, answer->position, sizeof ack.position);
    return wire_write_ack(&ack, out, room);
}
