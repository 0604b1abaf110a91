#include "wire.h"

#include <string.h>

/* ---- the smallest parts of JSON ------------------------------------------------------------- */

struct cursor {
    const char *text;
    size_t length;
    size_t at;
};

struct number {
    bool given; /* false for null */
    bool below; /* below zero */
    uint32_t size;
};

/* The next byte; a zero byte at the end, which none of the rules takes for anything. */
static char peek(const struct cursor *c)
{
    return c->at < c->length ? c->text[c->at] : '\0';
}

static bool take_char(struct cursor *c, char wanted)
{
    if (c->at >= c->length || c->text[c->at] != wanted) {
        return false;
    }
    c->at++;
    return true;
}

static bool take_word(struct cursor *c, const char *word, size_t length)
{
    if (c->length - c->at < length || memcmp(c->text + c->at, word, length) != 0) {
        return false;
    }
    c->at += length;
    return true;
}

static void skip_blanks(struct cursor *c)
{
    while (peek(c) == ' ' || peek(c) == '\t' || peek(c) == '\n' || peek(c) == '\r') {
        c->at++;
    }
}

static bool at_digit(const struct cursor *c)
{
    return peek(c) >= '0' && peek(c) <= '9';
}

/* Digits without needless zeros in front, as JSON has them; at most 32 bits. */
static bool take_whole(struct cursor *c, uint32_t *value)
{
    const size_t begin = c->at;

    *value = 0;
    while (at_digit(c)) {
        const uint32_t digit = (uint32_t)(peek(c) - '0');
        if (*value > (UINT32_MAX - digit) / 10u || (*value == 0u && c->at > begin)) {
            return false;
        }
        *value = *value * 10u + digit;
        c->at++;
    }
    return c->at > begin;
}

/* A whole number or null; a point or exponent is left over, and refused by what comes next. */
static bool take_number(struct cursor *c, struct number *value)
{
    value->given = !take_word(c, "null", 4);
    value->below = false;
    value->size = 0;
    if (!value->given) {
        return true;
    }
    value->below = take_char(c, '-');
    if (!take_whole(c, &value->size)) {
        return false;
    }
    value->below = value->below && value->size > 0u;
    return true;
}

/* Printable ASCII without escapes. */
static bool take_text(struct cursor *c, struct cursor *inside)
{
    if (!take_char(c, '"')) {
        return false;
    }
    inside->text = c->text + c->at;
    inside->length = 0;
    inside->at = 0;
    while (peek(c) >= ' ' && peek(c) <= '~' && peek(c) != '"' && peek(c) != '\\') {
        c->at++;
        inside->length++;
    }
    return take_char(c, '"');
}

/* ---- advice --------------------------------------------------------------------------------- */

enum field {
    FIELD_VERSION,
    FIELD_BOOT,
    FIELD_SEQ,
    FIELD_FOR_BOOT,
    FIELD_FOR_SEQ,
    FIELD_TTL,
    FIELD_MODE,
    FIELD_ACTION,
    FIELD_REASON,
    FIELD_FAN,
    FIELD_AIR = FIELD_FAN + (int)WIRE_TARGETS,
    FIELDS
};

static const struct {
    uint32_t below; /* furthest below zero */
    uint32_t least;
    uint32_t most;
} BOUNDS[FIELDS] = {
    {0, 1, 1},                  /* version */
    {0, 0, UINT32_C(99999999)}, /* boot, seq of the bridge */
    {0, 0, UINT32_C(99999999)},
    {0, 0, UINT32_MAX}, /* boot, seq of the reading */
    {0, 0, UINT32_MAX},
    {0, 1, 3600},
    {0, 1, 3},
    {0, 0, WIRE_ACTIONS - 1u},
    {0, 0, WIRE_REASONS - 1u},
    {0, 0, WIRE_FULL}, /* advice never leaves the fans alone */
    {1, 0, WIRE_FULL},
    {1, 0, WIRE_FULL},
    {1, 0, WIRE_FULL},
    {1, 0, WIRE_FULL},
    {500, 0, 3000}, /* expected supply air, 0.01 degC: must make sense, is not used */
};

static bool is_within(const struct number *value, size_t field)
{
    if (!value->given) {
        return field >= (size_t)FIELD_FAN;
    }
    if (value->below) {
        return value->size <= BOUNDS[field].below;
    }
    return value->size >= BOUNDS[field].least && value->size <= BOUNDS[field].most;
}

/* Either a reason and no positions, or all positions and no reason. */
static bool is_whole(const struct number row[FIELDS], size_t count)
{
    const size_t wanted = row[FIELD_ACTION].size == 0u ? (size_t)FIELD_FAN : (size_t)FIELDS;
    size_t n;

    if (count < wanted) {
        return false;
    }
    for (n = FIELD_FAN; n < count; n++) {
        if (row[n].given == (row[FIELD_ACTION].size == 0u)) {
            return false;
        }
    }
    return (row[FIELD_ACTION].size == 0u) == (row[FIELD_REASON].size > 0u);
}

static bool take_row(struct cursor *c, struct number row[FIELDS])
{
    size_t count = 0;

    if (!take_char(c, '[')) {
        return false;
    }
    do {
        skip_blanks(c);
        if (count == (size_t)FIELDS || !take_number(c, &row[count]) ||
            !is_within(&row[count], count)) {
            return false;
        }
        count++;
        skip_blanks(c);
    } while (take_char(c, ','));
    if (!take_char(c, ']')) {
        return false;
    }
    skip_blanks(c);
    return c->at == c->length && count >= (size_t)FIELD_FAN && is_whole(row, count);
}

bool wire_read_advice(const char *payload, size_t length, struct wire_advice *advice)
{
    struct cursor c = {payload, length, 0};
    struct number row[FIELDS];
    size_t n;

    if (length > WIRE_LARGEST || !take_row(&c, row)) {
        return false;
    }
    advice->boot = row[FIELD_BOOT].size;
    advice->seq = row[FIELD_SEQ].size;
    advice->for_boot = row[FIELD_FOR_BOOT].size;
    advice->for_seq = row[FIELD_FOR_SEQ].size;
    advice->ttl = (uint16_t)row[FIELD_TTL].size;
    advice->mode = (uint8_t)row[FIELD_MODE].size;
    advice->action = (uint8_t)row[FIELD_ACTION].size;
    advice->reason = (uint8_t)row[FIELD_REASON].size;
    for (n = 0; n < (size_t)WIRE_TARGETS; n++) {
        const struct number *given = &row[(size_t)FIELD_FAN + n];
        const bool alone = advice->action == 0u || given->below;
        advice->position[n] = alone ? WIRE_LEFT_ALONE : (int16_t)given->size;
    }
    return true;
}

/* ---- beats ---------------------------------------------------------------------------------- */

enum key { KEY_BOOT, KEY_SEQ, KEY_ID, KEY_BIRTH, KEY_T, KEYS };

static const struct {
    const char *name;
    size_t length;
    uint32_t most;
} KNOWN[KEYS] = {
    {"boot", 4, UINT32_C(99999999)},
    {"seq", 3, UINT32_C(99999999)},
    {"id", 2, UINT32_MAX},
    {"birth", 5, 1},
    {"t", 1, 0}, /* UTC, for people: must be a number or null, is not used */
};

/* A number that is not used: no exponent, so many digits before the point at most. */
static bool pass_number(struct cursor *c, size_t most)
{
    const size_t begin = c->at;

    if (!take_char(c, '0')) {
        while (at_digit(c)) {
            c->at++;
        }
    }
    if (c->at == begin || c->at - begin > most) {
        return false;
    }
    if (!take_char(c, '.')) {
        return true;
    }
    if (!at_digit(c)) {
        return false;
    }
    while (at_digit(c)) {
        c->at++;
    }
    return true;
}

/* What later bridges may add to a beat: a text, a number, a truth value or null. */
static bool pass_unknown(struct cursor *c)
{
    struct cursor text;

    if (take_word(c, "null", 4) || take_word(c, "true", 4) || take_word(c, "false", 5)) {
        return true;
    }
    if (peek(c) == '"') {
        return take_text(c, &text);
    }
    (void)take_char(c, '-');
    return pass_number(c, WIRE_LARGEST);
}

static size_t key_of(const struct cursor *text)
{
    size_t n = 0;

    while (n < (size_t)KEYS && (text->length != KNOWN[n].length ||
                                memcmp(text->text, KNOWN[n].name, KNOWN[n].length) != 0)) {
        n++;
    }
    return n;
}

/* One `"key":value`; `seen` has a bit for each known key. */
static bool take_member(struct cursor *c, uint32_t value[KEYS], unsigned *seen)
{
    struct cursor text;
    size_t key;

    skip_blanks(c);
    if (!take_text(c, &text)) {
        return false;
    }
    skip_blanks(c);
    if (!take_char(c, ':')) {
        return false;
    }
    skip_blanks(c);
    key = key_of(&text);
    if (key == (size_t)KEYS) {
        return pass_unknown(c);
    }
    if ((*seen & (1u << key)) != 0u) {
        return false; /* the same key twice: nobody can tell which one is meant */
    }
    *seen |= 1u << key;
    if (key == (size_t)KEY_T) {
        return take_word(c, "null", 4) || pass_number(c, 10);
    }
    return take_whole(c, &value[key]) && value[key] <= KNOWN[key].most;
}

bool wire_read_beat(const char *payload, size_t length, struct wire_beat *beat)
{
    const unsigned needed = 1u << KEY_BOOT | 1u << KEY_SEQ | 1u << KEY_ID;
    struct cursor c = {payload, length, 0};
    uint32_t value[KEYS] = {0};
    unsigned seen = 0;

    if (length > WIRE_LARGEST || !take_char(&c, '{')) {
        return false;
    }
    do {
        if (!take_member(&c, value, &seen)) {
            return false;
        }
        skip_blanks(&c);
    } while (take_char(&c, ','));
    if (!take_char(&c, '}')) {
        return false;
    }
    skip_blanks(&c);
    beat->boot = value[KEY_BOOT];
    beat->seq = value[KEY_SEQ];
    beat->birth = value[KEY_BIRTH] == 1u;
    return c.at == length && (seen & needed) == needed;
}

/* ---- acks ----------------------------------------------------------------------------------- */

struct sheet {
    char *text;
    size_t room;
    size_t used;
    bool full;
};

static void put_char(struct sheet *s, char letter)
{
    if (s->used < s->room) {
        s->text[s->used++] = letter;
    } else {
        s->full = true;
    }
}

static void put_text(struct sheet *s, const char *text)
{
    while (*text != '\0') {
        put_char(s, *text++);
    }
}

static void put_whole(struct sheet *s, uint32_t value)
{
    char digits[10];
    size_t count = 0;

    do {
        digits[count++] = (char)('0' + (int)(value % 10u));
        value /= 10u;
    } while (value > 0u);
    while (count > 0u) {
        put_char(s, digits[--count]);
    }
}

/* Thousandths as a share of full: 0.217, 1.000. */
static void put_share(struct sheet *s, uint16_t thousandths)
{
    put_whole(s, thousandths / 1000u);
    put_char(s, '.');
    put_whole(s, thousandths / 100u % 10u);
    put_whole(s, thousandths / 10u % 10u);
    put_whole(s, thousandths % 10u);
}

size_t wire_write_ack(const struct wire_ack *ack, char *out, size_t room)
{
    static const char *const NAMES[WIRE_TARGETS] = {"fan", "door", "water", "cool", "heat"};
    struct sheet s = {out, room, 0, false};
    size_t n;

    put_text(&s, "{\"boot\":");
    put_whole(&s, ack->boot);
    put_text(&s, ",\"ref\":[");
    put_whole(&s, ack->ref_boot);
    put_char(&s, ',');
    put_whole(&s, ack->ref_seq);
    put_text(&s, "],\"code\":\"");
    put_text(&s, ack->code);
    put_char(&s, '"');
    for (n = 0; n < (size_t)WIRE_TARGETS; n++) {
        if (ack->position[n] >= 0) {
            put_text(&s, ",\"");
            put_text(&s, NAMES[n]);
            put_text(&s, "\":");
            put_share(&s, (uint16_t)ack->position[n]);
        }
    }
    put_char(&s, '}');
    put_char(&s, '\0');
    return s.full ? 0u : s.used - 1u;
}
